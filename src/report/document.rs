//! The document as data: pages of blocks, before any typesetting.
//!
//! Pages are built once from the findings; the PDF and the HTML page are two
//! renderings of the same blocks. All text is content, never markup.

/// A whole report.
#[derive(Debug, Clone, PartialEq)]
pub struct Document {
    /// Title of the document.
    pub title: String,
    /// Pages in order; each starts on a new sheet.
    pub pages: Vec<Page>,
}

/// One page or more under one heading.
#[derive(Debug, Clone, PartialEq)]
pub struct Page {
    /// The heading.
    pub title: String,
    /// One sentence under the heading that says what the page shows.
    pub lead: String,
    /// What follows.
    pub blocks: Vec<Block>,
}

/// A piece of a page.
#[derive(Debug, Clone, PartialEq)]
pub enum Block {
    /// A heading inside the page.
    Heading(String),
    /// A paragraph.
    Paragraph(String),
    /// A list of short items.
    List(Vec<String>),
    /// A caution, set off from the text.
    Caution(String),
    /// A chart.
    Figure(Figure),
    /// A table.
    Table(Table),
}

/// A chart with its caption.
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    /// File name without number and ending, from our own list: `where`, `when-f1`.
    pub name: String,
    /// The chart.
    pub svg: String,
    /// What is seen.
    pub caption: String,
    /// The same for those who cannot see it.
    pub alt: String,
}

/// A table.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    /// What the table lists.
    pub caption: String,
    /// Column heads and whether the column holds figures (set to the right).
    pub columns: Vec<(String, bool)>,
    /// Rows of as many cells.
    pub rows: Vec<Vec<String>>,
}
