//! Outside checks, runs of the whole, and benchmarks; see the folders beside this file.

pub mod readers;
