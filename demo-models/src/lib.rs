//! The demonstration parts and plans of a small harbour museum, made by code.
