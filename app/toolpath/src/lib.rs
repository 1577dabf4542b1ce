//! Toolpaths: the words, modes and moves of G-code, with no idea of colour or shape.
