//! Reading: the corpus of messy files, properties that hold for any files, and
//! checks against published examples.

mod corpus;
mod faults;
mod properties;
mod published;
