//! Writes the demo's files below one folder.

use std::path::{Path, PathBuf};

use super::workshop::{DemoFile, SITE_FILE};

/// Folder of the inspection files below the demo's folder.
pub const INSPECTIONS: &str = "inspections";
/// The site file below the demo's folder.
pub const SITE_NAME: &str = "onus.toml";

/// Why the demo's files could not be written.
#[derive(Debug, thiserror::Error)]
pub enum DemoError {
    /// A file or folder could not be written.
    #[error("{}: cannot be written: {source}", path.display())]
    Io {
        /// Which.
        path: PathBuf,
        /// Why.
        source: std::io::Error,
    },
    /// The folder holds something that no demo wrote.
    #[error("{}: holds something else than a demo", path.display())]
    Occupied {
        /// Which.
        path: PathBuf,
    },
    /// The settings that ship with the program do not parse.
    #[error("the demo's settings: {0}")]
    Settings(#[from] toml::de::Error),
}

impl DemoError {
    /// What to do next, where there is something to say.
    #[must_use]
    pub fn hint(&self) -> Option<String> {
        match self {
            Self::Io { .. } => Some("choose a folder you may write to with --out".into()),
            Self::Occupied { .. } => Some("choose an empty or new folder with --out".into()),
            Self::Settings(_) => None,
        }
    }
}

/// Writes the inspection files and the site file below `folder`; an earlier
/// demo there is replaced, anything else is left alone.
///
/// # Errors
///
/// [`DemoError::Occupied`] if the folder holds inspections that no demo wrote,
/// [`DemoError::Io`] if a file cannot be written.
pub fn write(folder: &Path, files: &[DemoFile]) -> Result<(), DemoError> {
    let at = |path: &Path| {
        let path = path.to_owned();
        move |source| DemoError::Io { path, source }
    };
    let (inspections, site) = (folder.join(INSPECTIONS), folder.join(SITE_NAME));
    let ours = std::fs::read_to_string(&site).is_ok_and(|text| text == SITE_FILE);
    if !ours && (inspections.exists() || site.exists()) {
        return Err(DemoError::Occupied {
            path: folder.to_owned(),
        });
    }
    std::fs::create_dir_all(folder).map_err(at(folder))?;
    let fresh = tempfile::Builder::new()
        .prefix(".demo-")
        .tempdir_in(folder)
        .map_err(at(folder))?;
    for file in files {
        let path = fresh.path().join(&file.path);
        if let Some(parent) = path.parent() {
            std::fs::create_dir_all(parent).map_err(at(parent))?;
        }
        std::fs::write(&path, &file.text).map_err(at(&path))?;
    }
    std::fs::write(&site, SITE_FILE).map_err(at(&site))?;
    if inspections.exists() {
        std::fs::remove_dir_all(&inspections).map_err(at(&inspections))?;
    }
    std::fs::rename(fresh.path(), &inspections).map_err(at(&inspections))?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_demo_replaces_a_demo_and_nothing_else() {
        let folder = tempfile::tempdir().unwrap();
        let target = folder.path().join("new").join("demo");
        let one = |text: &str| {
            [DemoFile {
                path: "a/b.csv".into(),
                text: text.into(),
            }]
        };
        write(&target, &one("first")).unwrap();
        write(&target, &one("second")).unwrap();
        let written = std::fs::read_to_string(target.join(INSPECTIONS).join("a/b.csv")).unwrap();
        assert_eq!(written, "second");
        std::fs::write(target.join(SITE_NAME), "[site]\n").unwrap();
        assert!(matches!(
            write(&target, &one("third")),
            Err(DemoError::Occupied { .. })
        ));
        let kept = std::fs::read_to_string(target.join(INSPECTIONS).join("a/b.csv")).unwrap();
        assert_eq!(kept, "second");
    }
}
