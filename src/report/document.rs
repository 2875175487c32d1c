//! The document as data: pages of blocks, before any typesetting.
//!
//! Pages are built once from the findings; the PDF and the HTML page are two
//! renderings of the same blocks. All text is content, never markup.

use serde::Serialize;

use crate::causes::Cause;
use crate::site::Paper;

/// A whole report.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Document {
    /// Title of the document.
    pub title: String,
    /// The site's name, printed above the first heading.
    pub site: Option<String>,
    /// Who issues it, from the site file; a field of the PDF.
    pub author: Option<String>,
    /// The period it covers, as it is printed.
    pub period: String,
    /// Its date, taken from the data.
    pub date: Option<jiff::civil::Date>,
    /// The sheet.
    #[serde(skip)]
    pub paper: Paper,
    /// Pages in order.
    pub pages: Vec<Page>,
}

/// One page or more under one heading.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Page {
    /// Name for links, from our own list: `finding-1`, `method`.
    pub anchor: String,
    /// The heading.
    pub title: String,
    /// One sentence under the heading that says what the page shows.
    pub lead: String,
    /// What follows.
    pub blocks: Vec<Block>,
    /// Where it starts.
    pub start: Start,
}

/// Where a page starts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
pub enum Start {
    /// On a new sheet.
    #[default]
    NewSheet,
    /// Below what stands before it where it fits there whole, else on a new sheet.
    WhereItFits,
    /// Below what stands before it, in the smaller type of the appendix.
    Follows,
}

/// A piece of a page.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "kind", content = "of")]
pub enum Block {
    /// A heading inside the page.
    Heading(String),
    /// A paragraph.
    Paragraph(String),
    /// A list of short items.
    List(Vec<String>),
    /// The few numbers that the first page turns on.
    Numbers(Vec<KeyNumber>),
    /// Statements, each with who makes it and how sure that is.
    Statements(Vec<Statement>),
    /// What to do, in this order.
    Steps(Vec<Step>),
    /// A caution, set off from the text.
    Caution(String),
    /// A chart.
    Figure(Figure),
    /// Charts of half the width in two columns.
    Columns([Vec<Figure>; 2]),
    /// A table.
    Table(Table),
}

impl Page {
    /// The charts of the page in order.
    pub fn figures(&self) -> impl Iterator<Item = &Figure> {
        self.blocks.iter().flat_map(|block| {
            let (left, right): (&[Figure], &[Figure]) = match block {
                Block::Figure(figure) => (std::slice::from_ref(figure), &[]),
                Block::Columns([left, right]) => (left, right),
                _ => (&[], &[]),
            };
            left.iter().chain(right)
        })
    }
}

impl Figure {
    /// Width and height of the chart, pt, as its root element gives them.
    #[must_use]
    pub fn size_pt(&self) -> Option<(f64, f64)> {
        let root = self.svg.split('>').next()?;
        let of = |name: &str| {
            let key = format!(" {name}=\"");
            let start = root.find(&key)? + key.len();
            root[start..].split_once("pt\"")?.0.parse().ok()
        };
        Some((of("width")?, of("height")?))
    }
}

impl Block {
    /// Charts of half the width, each put under the shorter of two columns.
    #[must_use]
    pub fn columns(figures: Vec<Figure>) -> Block {
        // A caption of two lines and the space around it, pt.
        const CAPTION: f64 = 45.0;
        let mut columns = [Vec::new(), Vec::new()];
        let mut filled = [0.0, 0.0];
        for figure in figures {
            let shorter = usize::from(filled[1] < filled[0]);
            filled[shorter] += CAPTION + figure.size_pt().map_or(0.0, |size| size.1);
            columns[shorter].push(figure);
        }
        Block::Columns(columns)
    }
}

/// A number with what it counts.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct KeyNumber {
    /// The number as it is written.
    pub value: String,
    /// What it counts.
    pub label: String,
}

/// A statement with its cause and how sure it is.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Statement {
    /// Who makes it.
    pub cause: Cause,
    /// The cause in words.
    pub cause_word: String,
    /// What, where, since when.
    pub text: String,
    /// How sure.
    pub sure: String,
    /// Anchor of the page that says more.
    pub link: Option<String>,
}

/// Something to do.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Step {
    /// What to do.
    pub action: String,
    /// How to see whether it was right.
    pub check: String,
    /// Whether the page's caution applies to it.
    pub care: Care,
}

/// Whether an action can hurt someone or something.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum Care {
    /// It touches machine, abrasive or recipe: the caution applies.
    Caution,
    /// It only looks at panels or records.
    None,
}

/// A chart with its caption.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Figure {
    /// File name without number and ending, from our own list: `where`, `when-f1`.
    pub name: String,
    /// The chart.
    #[serde(skip)]
    pub svg: String,
    /// What is seen.
    pub caption: String,
    /// The same for those who cannot see it.
    pub alt: String,
}

/// A table.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Table {
    /// What the table lists.
    pub caption: String,
    /// Column heads and whether the column holds figures (set to the right).
    pub columns: Vec<(String, bool)>,
    /// Rows of as many cells.
    pub rows: Vec<Vec<Cell>>,
}

impl Table {
    /// A table with so many rows of as many cells as there are heads.
    pub(crate) fn new<C: Into<Cell>>(
        caption: impl Into<String>,
        heads: &[(impl AsRef<str>, bool)],
        rows: impl IntoIterator<Item = Vec<C>>,
    ) -> Self {
        let head = |(head, figures): &(_, bool)| (AsRef::<str>::as_ref(head).to_owned(), *figures);
        let cells = |row: Vec<C>| row.into_iter().map(Into::into).collect();
        Self {
            caption: caption.into(),
            columns: heads.iter().map(head).collect(),
            rows: rows.into_iter().map(cells).collect(),
        }
    }
}

/// A cell of a table.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(untagged)]
pub enum Cell {
    /// Text or a figure.
    Text(String),
    /// A cause, shown with its mark.
    Cause(Cause, String),
}

impl From<String> for Cell {
    fn from(text: String) -> Self {
        Cell::Text(text)
    }
}

impl From<&str> for Cell {
    fn from(text: &str) -> Self {
        Cell::Text(text.to_owned())
    }
}
