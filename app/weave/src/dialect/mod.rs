//! How a firmware is told which blend to feed: line templates in a file.
//!
//! There is no standard for it, so a dialect is data: a RON file that says which lines change
//! the blend. Two are built in, named by their form; their codes are common practice, and each
//! says so. The third form has no code that several firmwares share, so its line is asked for.
//! `docs/dialects.md` shows how to write one. A new built-in one is one file in `built_in` and one
//! line in [`BUILT_IN`].
//!
//! ```
//! use blend::Shares;
//! use weave::dialect::{Dialect, Speaker};
//!
//! let dialect = Dialect::ratio_word("MIX RATIO={shares}")?;
//! let mut speaker = Speaker::new(&dialect, 2)?;
//! let blend = Shares::new(&[0.25, 0.75])?;
//! assert_eq!(speaker.change(&blend).as_deref(), Some("MIX RATIO=0.250:0.750"));
//! assert_eq!(speaker.change(&blend), None); // nothing changes
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod check;
mod document;
mod listen;
mod speak;
mod store;
mod tally;
mod template;

pub use document::{BUILT_IN, Dialect, Form, TO_FILL_IN, WHERE_TO_LOOK};
pub use listen::{Heard, Listener};
pub use speak::{DialectError, Speaker};
pub use store::Stored;
pub use tally::{Tallied, Tally};
