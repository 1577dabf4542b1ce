//! Toolpaths: the words, modes and moves of G-code, with no idea of colour or shape.
//!
//! A toolpath is read line by line ([`Reader`]), each line is taken apart into its words
//! ([`Line`]), the words change the state of the machine ([`MachineState`]), and a change of
//! place or of filament is a [`Move`]. [`Replay`] runs all of that. [`Writer`] writes lines
//! back: what nobody touched leaves byte for byte as it came. [`split()`] cuts one move into
//! several that lay down the same plastic along the same line.
//!
//! The rules are those of ISO 6983 in the form of the RS274/NGC interpreter (Kramer, Proctor
//! and Messina, NISTIR 6556, 2000; named "NIST" below, with its section), together with the
//! E axis of filament printers, which no standard covers: common practice, no source, and
//! said so where it is used.
//!
//! Nothing here holds a file: memory stays the same from a kilobyte to many gigabytes.
//! Places are millimetres of the machine, filament is millimetres of the strand.
//!
//! ```
//! use toolpath::{Replay, Settings, Step};
//!
//! let file = b"G21 G90\nM83\nG0 X10 Y10 ; to the start\ng1 x 20 e0.5\n";
//! let mut replay = Replay::new(&file[..], Settings::default());
//! let mut filament_mm = 0.0;
//! let mut place = [0.0; 3];
//! while let Some(seen) = replay.advance()? {
//!     if let Step::Move(step) = seen.step {
//!         filament_mm += step.extruded_mm;
//!         place = step.to;
//!     }
//! }
//! assert_eq!(filament_mm, 0.5);
//! assert_eq!(place, [20.0, 10.0, 0.0]);
//! # Ok::<(), toolpath::ReadError>(())
//! ```

// It comes from strangers: nothing in it may end in a panic.
#![warn(
    clippy::indexing_slicing,
    clippy::string_slice,
    clippy::expect_used,
    clippy::panic
)]

pub mod arc;
pub mod caution;
pub mod line;
pub mod moves;
pub mod number;
mod plain;
pub mod read;
pub mod replay;
pub mod split;
pub mod state;
pub mod write;

pub use arc::{Arc, Plane};
pub use caution::{Caution, CautionKind, Cautions};
pub use line::{Form, Line, Word};
pub use moves::{Move, Path, filament_area_mm2};
pub use read::{ReadError, Reader};
pub use replay::{Replay, Replayed, Skimmed};
pub use split::{Pieces, WhyWhole, split};
pub use state::{Distance, ExtruderMode, MachineState, Settings, Step, Units};
pub use write::Writer;
