//! What can be wrong with a site file, told with line and suggestion.

use std::path::PathBuf;

/// A site file that cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum SiteError {
    /// The file cannot be read.
    #[error("{}: cannot be read: {source}", path.display())]
    Io {
        /// The site file.
        path: PathBuf,
        /// Why.
        source: std::io::Error,
    },
    /// Something in it is not understood.
    #[error("{}, line {line}: {message}", path.display())]
    Content {
        /// The site file.
        path: PathBuf,
        /// Line, from 1.
        line: usize,
        /// What is wrong.
        message: String,
        /// The nearest thing that is known.
        suggestion: Option<String>,
    },
}

impl SiteError {
    /// What to do next.
    #[must_use]
    pub fn hint(&self) -> Option<String> {
        match self {
            SiteError::Io { .. } => None,
            SiteError::Content { suggestion, .. } => Some(match suggestion {
                Some(known) => format!("did you mean {known}?"),
                None => {
                    "`onus columns --site SAMPLE.csv` writes a site file with every key explained"
                        .into()
                }
            }),
        }
    }
}

/// The known name nearest to `name`, if one is near enough to be meant.
pub(crate) fn nearest<'a>(name: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let name = name.trim().to_lowercase();
    let mut best: Option<(f64, &str)> = None;
    for candidate in known {
        let score = strsim::jaro_winkler(&name, &candidate.to_lowercase());
        if best.is_none_or(|(top, _)| score > top) {
            best = Some((score, candidate));
        }
    }
    // 0.75 keeps slips of the pen and leaves out unrelated words (tried on the
    // column names and everyday headers).
    best.filter(|(score, _)| *score >= 0.75)
        .map(|(_, candidate)| candidate)
}
