//! What the print step needs, made whole: a folder of files, or a hand-off that can be checked.
//!
//! [`prepare()`] writes the tables, sheets and pages of a plan; [`bundle`] packs them with the plan
//! itself and a manifest of hashes. The coloured part goes into open formats: [`three_mf`] carries
//! what is asked for, as shares of spools, for whoever cuts the part into layers; [`gltf`] and
//! [`ply`] carry the predicted colours ([`coloured`]), for any viewer of models. [`bodies`] is the
//! part cut into solids, for print steps that take several tools. [`print_record`] is the folder of
//! what photographs showed of the finished part.

pub mod bodies;
pub mod bundle;
pub mod coloured;
pub mod gltf;
pub mod ply;
mod prepare;
pub mod print_record;
mod summary;
pub mod three_mf;

pub use prepare::{PrepareError, Prepared, prepare, prepare_woven, review_page, scheduled};
pub use summary::{FILES, Summary};
