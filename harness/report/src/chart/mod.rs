//! Charts as plain SVG.
