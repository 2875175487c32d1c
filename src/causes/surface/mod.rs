//! Uneven removal: a tilted head or warped panels.

mod result;

pub use result::{
    Contrast, EdgeToEdge, Estimate, Lean, MachineSide, PanelSlope, Region, Surface, SurfaceCause,
    SurfaceEvidence, SurfaceNote, Term,
};
