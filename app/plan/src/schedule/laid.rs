//! The plastic that a toolpath lays.

/// The plastic of a toolpath, which then counts in place of the plan's
/// [`Filling`](crate::Filling).
#[derive(Clone, Debug, PartialEq)]
pub struct Laid {
    /// What is laid in each of the plan's layers, mm³, from the bed upwards.
    pub layers_mm3: Vec<f64>,
    /// What the schedule's amounts are for, in words.
    pub route: String,
}
