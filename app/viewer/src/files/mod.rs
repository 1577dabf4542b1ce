//! What the window keeps on disk: plans as their owner saves them, and, in a folder of its
//! own, settings, the list of recent files and the copies for recovery.

pub mod home;
pub mod opened;
pub mod recent;
pub mod recovery;
pub mod settings;
pub mod stamp;

pub use home::Home;
pub use opened::{Notes, Opened};
pub use recent::Recent;
pub use recovery::{Keeper, Left};
pub use settings::Settings;
pub use stamp::{Contents, OnDisk, Stamp};
