//! The closed world that typst sees: one template, one data file, our own
//! charts and typeface. No disk, no network, no clock.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use typst::diag::{FileError, FileResult};
use typst::foundations::{Bytes, Datetime, Duration};
use typst::syntax::{FileId, RootedPath, Source, VirtualPath, VirtualRoot};
use typst::text::{Font, FontBook};
use typst::utils::LazyHash;
use typst::{Library, LibraryExt, World};

use crate::charts::FACES;

const TEMPLATE: &str = include_str!("template.typ");

static LIBRARY: LazyLock<LazyHash<Library>> =
    LazyLock::new(|| LazyHash::new(Library::builder().build()));

static FONTS: LazyLock<Vec<Font>> = LazyLock::new(|| {
    FACES
        .iter()
        .filter_map(|face| Font::new(Bytes::new(*face), 0))
        .collect()
});

static BOOK: LazyLock<LazyHash<FontBook>> =
    LazyLock::new(|| LazyHash::new(FontBook::from_fonts(FONTS.iter())));

/// The template with the files it may read.
pub(super) struct Closed {
    main: Source,
    files: BTreeMap<String, Bytes>,
}

impl Closed {
    /// A world of the template and the named files.
    ///
    /// # Errors
    ///
    /// The name, if one cannot be a path.
    pub(super) fn new(files: BTreeMap<String, Bytes>) -> Result<Self, String> {
        Ok(Self {
            main: Source::new(id("template.typ")?, TEMPLATE.to_owned()),
            files,
        })
    }
}

fn id(name: &str) -> Result<FileId, String> {
    let path = VirtualPath::new(name).map_err(|_| name.to_owned())?;
    Ok(RootedPath::new(VirtualRoot::Project, path).intern())
}

impl World for Closed {
    fn library(&self) -> &LazyHash<Library> {
        &LIBRARY
    }

    fn book(&self) -> &LazyHash<FontBook> {
        &BOOK
    }

    fn main(&self) -> FileId {
        self.main.id()
    }

    fn source(&self, id: FileId) -> FileResult<Source> {
        if id == self.main.id() {
            Ok(self.main.clone())
        } else {
            Err(FileError::AccessDenied)
        }
    }

    fn file(&self, id: FileId) -> FileResult<Bytes> {
        let name = id.get().vpath().get_without_slash();
        self.files.get(name).cloned().ok_or(FileError::AccessDenied)
    }

    fn font(&self, index: usize) -> Option<Font> {
        FONTS.get(index).cloned()
    }

    fn today(&self, _offset: Option<Duration>) -> Option<Datetime> {
        None
    }
}
