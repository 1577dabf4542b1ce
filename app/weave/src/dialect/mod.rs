//! How a firmware is told which blend to feed: line templates in a file.
//!
//! There is no standard for it, so a dialect is data: a RON file that says which lines change
//! the blend. Three are built in, named by their form; they are written from memory, and each
//! says so. `docs/dialects.md` shows how to write one. A new built-in one is one file in
//! `built_in` and one line in [`BUILT_IN`].
//!
//! ```
//! use blend::Shares;
//! use weave::dialect::{Dialect, Speaker};
//!
//! let dialect = Dialect::built_in("ratio-word").expect("it is built in");
//! let mut speaker = Speaker::new(&dialect, 2)?;
//! let blend = Shares::new(&[0.25, 0.75])?;
//! assert_eq!(speaker.change(&blend).as_deref(), Some("M567 P0 E0.250:0.750"));
//! assert_eq!(speaker.change(&blend), None); // nothing changes
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod check;
mod document;
mod listen;
mod speak;
mod store;
mod template;

pub use document::{BUILT_IN, Dialect, Form};
pub use listen::{Heard, Listener};
pub use speak::{DialectError, Speaker};
pub use store::Stored;
