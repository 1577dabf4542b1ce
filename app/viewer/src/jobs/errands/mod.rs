//! The steps of the job beside colouring: each reads and writes files as the command of its name
//! does, by the same functions.

mod agree;
mod hand_on;
mod order;
mod printer;
mod seen;

use geometry::Progress;

use super::Stop;
use crate::model::errand::{Answer, Errand};

pub use order::Order;
pub(super) use order::{records, worked};

/// Does it.
///
/// # Errors
/// [`Stop`] in words that say what is wrong and what to do, or when cancelled.
pub fn run(order: Order, progress: &Progress) -> Result<(Errand, Answer), Stop> {
    let errand = order.errand;
    let revision = order.part.revision;
    let answer = match errand {
        Errand::Swatch => printer::swatch(&order, progress),
        Errand::LagTest => printer::lag_test(&order, progress),
        Errand::LagFit => printer::lag_fit(&order.forms, progress),
        Errand::Compare => agree::compare(order, progress),
        Errand::Review => agree::review(&order, progress),
        Errand::Sign | Errand::SendBack => agree::sign(&order, progress),
        Errand::Changes => agree::changes_since(&order, progress),
        Errand::KeyIn => hand_on::key_in(&order, progress),
        Errand::HandOff => hand_on::hand_off(&order, progress),
        Errand::CheckHandOff => hand_on::check(&order.forms, progress),
        Errand::Watch => seen::watch(order, progress),
        Errand::Trace => seen::trace(order, progress),
    }?;
    Ok((
        errand,
        Answer {
            revision: Some(revision),
            ..answer
        },
    ))
}
