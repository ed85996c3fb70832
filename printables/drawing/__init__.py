"""One drawing for two surfaces: shapes in millimetres, written as SVG or onto a PDF canvas."""
