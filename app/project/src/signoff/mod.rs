//! Who looked a plan over, and whether what they looked at is still what there is.
//!
//! A signature stands in a file of its own beside the plan (see [`path_of`]). It is bound by a
//! [`Seal`] to the bytes of the plan, of the mesh, and of the spool and machine files; when any
//! of them changes by as much as one byte the signature no longer holds, and everything that is
//! written out says so ([`Standing`]).
//!
//! A signature is a note between people who trust each other, not a proof: it has no secret key,
//! and whoever can write the file can sign under any name. It shows that nothing has changed
//! since, and what has.

// It comes from strangers: nothing in it may end in a panic.
#![warn(
    clippy::indexing_slicing,
    clippy::string_slice,
    clippy::expect_used,
    clippy::panic
)]

mod clock;
mod document;
mod error;
mod seal;
mod signing;
mod standing;

pub use clock::utc;
pub use document::{Decision, Signature, Signatures, Verdict};
pub use error::SignoffError;
pub use seal::Seal;
pub use signing::{
    path_of, sign, signatures, since_signed, standing, standing_of, unsaved_standing,
};
pub use standing::{NotApproved, Signed, Standing, State};
