//! The one account: what is said of every kind of defect in every cell, of the
//! recipe's part in it, and of the latest change. All pages, the terminal and
//! the tables print from it, so that none says what another denies.

use super::Findings;
use crate::causes::{Cause, Certainty, Finding, Stream};
use crate::change::{Change, Comparison, Question, Verdict};
use crate::removal::{Risk, Risked};

/// What the recipe page may say of a kind of defect.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum RecipeWord {
    /// It follows the recipe, as these findings say: what moves it may be named.
    Follows(Vec<String>),
    /// Who makes it is not known: what goes with it may be named, as open.
    Open,
    /// Somebody else makes it: nothing is said but who, with the findings that
    /// say so.
    Others(Cause, Vec<String>),
}

/// What is said of one kind of defect in one cell.
#[derive(Debug, Clone, PartialEq)]
pub struct Account<'a> {
    /// The stream it is about.
    pub stream: &'a Stream,
    /// Who makes most of it.
    pub cause: Cause,
    /// How sure that is.
    pub certainty: Certainty,
    /// The findings that say so, by id, those that need somebody alone.
    pub findings: Vec<&'a str>,
}

/// The account.
#[derive(Debug, Clone)]
pub struct Story<'a> {
    findings: &'a Findings<'a>,
    /// One per stream, in the order of the streams.
    pub accounts: Vec<Account<'a>>,
}

impl<'a> Story<'a> {
    /// Of all results.
    #[must_use]
    pub fn new(findings: &'a Findings<'a>) -> Self {
        let accounts = (findings.causes.streams.iter().enumerate())
            .map(|(index, stream)| {
                let own = (findings.causes.findings.iter()).filter(|f| is_of(f, index));
                Account {
                    stream,
                    cause: stream.cause,
                    certainty: stream.certainty,
                    findings: own
                        .filter(|f| !findings.lives.gone(&f.id))
                        .map(|f| f.id.as_str())
                        .collect(),
                }
            })
            .collect();
        Self { findings, accounts }
    }

    /// What the recipe page may say of a risk: of a kind, by the accounts of all
    /// its cells; of a class, by those of its kinds.
    #[must_use]
    pub fn recipe_word(&self, risk: &Risk) -> RecipeWord {
        let of: Vec<&Account<'_>> = (self.accounts.iter())
            .filter(|a| match &risk.of {
                Risked::Defect(name) => a.stream.defect == *name,
                Risked::Class(class) => a.stream.class == Some(*class),
            })
            .filter(|a| a.stream.defects > 0)
            .collect();
        let says = |cause: Cause| of.iter().any(|a| self.names(a, cause));
        if says(Cause::Recipe) {
            let named = of.iter().flat_map(|a| &a.stream.causes);
            let mut ids: Vec<String> = named
                .filter(|share| share.cause == Cause::Recipe)
                .map(|share| share.finding.clone())
                .collect();
            ids.sort();
            ids.dedup();
            return RecipeWord::Follows(ids);
        }
        if of.is_empty() || of.iter().any(|a| a.cause == Cause::Undecided) {
            return RecipeWord::Open;
        }
        let most = of.iter().max_by_key(|a| a.stream.defects);
        let cause = most.map_or(Cause::Undecided, |a| a.cause);
        let mut ids: Vec<String> = (of.iter())
            .flat_map(|a| a.findings.iter().map(|id| (*id).to_owned()))
            .collect();
        ids.sort();
        ids.dedup();
        RecipeWord::Others(cause, ids)
    }

    /// Whether an account or one of its findings names a cause.
    fn names(&self, account: &Account<'_>, cause: Cause) -> bool {
        account.cause == cause
            || account
                .stream
                .causes
                .iter()
                .any(|share| share.cause == cause)
    }

    /// Whether the recipe page advises a lever.
    #[must_use]
    pub fn has_lever(&self) -> bool {
        let removal = self.findings.removal.as_ref();
        removal.is_some_and(|r| !r.advice.is_empty() && r.held.is_empty())
    }

    /// The latest change of recipe that was compared, with what it shows: kinds
    /// with a shown difference first, then those with most defects.
    #[must_use]
    pub fn latest_change(&self) -> Option<(&'a Comparison, Vec<&'a Change>)> {
        let changes = &self.findings.changes.comparisons;
        let latest = changes.last()?;
        // One recipe put on several machines at a time is one change each.
        let to = match &latest.question {
            Question::Recipe { to, .. } => Some(to),
            _ => None,
        };
        let same = changes
            .iter()
            .rev()
            .take_while(|c| match (&c.question, to) {
                (Question::Recipe { to: other, .. }, Some(to)) => other == to,
                _ => std::ptr::eq(*c, latest),
            });
        let rank = |c: &Change| match c.verdict {
            Verdict::Helped | Verdict::Hurt | Verdict::Differs => 0,
            _ if differs(c) => 1,
            _ => 2,
        };
        let best = same.min_by_key(|c| c.changes.iter().map(rank).min().unwrap_or(3))?;
        let mut kinds: Vec<&Change> = best.changes.iter().collect();
        kinds.sort_by_key(|c| {
            (
                rank(c),
                std::cmp::Reverse(c.before.defects + c.after.defects),
            )
        });
        Some((best, kinds))
    }
}

/// Whether the interval of the ratio leaves out 1: fewer or more is shown,
/// whatever else is open.
#[must_use]
pub fn differs(change: &Change) -> bool {
    change
        .ratio_ci
        .is_some_and(|ci| ci.high < 1.0 || ci.low > 1.0)
}

/// Whether a finding is of a stream.
#[must_use]
pub fn is_of(finding: &Finding, stream: usize) -> bool {
    finding.evidence.stream == Some(stream) || finding.evidence.pooled.contains(&stream)
}
