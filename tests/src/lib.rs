//! Outside checks, end-to-end runs and benchmarks.
