//! Charts: a finished result and a theme in, SVG text out.
