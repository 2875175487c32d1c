//! The demo: records of a made-up workshop with known truth.
