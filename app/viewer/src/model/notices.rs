//! Messages to the person at the window: what went wrong, and what was done.

use std::time::{Duration, Instant};

/// How grave a message is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Weight {
    /// Something was done.
    Done,
    /// Something to know.
    Warning,
    /// Something could not be done.
    Error,
}

impl Weight {
    /// How long such a message stays; an error stays until it is closed.
    fn stays(self) -> Option<Duration> {
        match self {
            Self::Done => Some(Duration::from_secs(6)),
            Self::Warning => Some(Duration::from_secs(30)),
            Self::Error => None,
        }
    }
}

/// A message.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Notice {
    /// How grave.
    pub weight: Weight,
    /// What it says.
    pub text: String,
    /// When it was first seen; none before.
    since: Option<Instant>,
}

/// The messages on show, oldest first.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Notices(Vec<Notice>);

/// More than this are not shown at once; the oldest go.
const MOST: usize = 3;

impl Notices {
    /// Tells that something was done. It replaces earlier messages of that kind.
    pub fn done(&mut self, text: impl Into<String>) {
        self.settle();
        self.add(Weight::Done, text.into());
    }

    /// Tells something to know.
    pub fn warning(&mut self, text: impl Into<String>) {
        self.add(Weight::Warning, text.into());
    }

    /// Tells what could not be done.
    pub fn error(&mut self, text: impl Into<String>) {
        self.add(Weight::Error, text.into());
    }

    fn add(&mut self, weight: Weight, text: String) {
        self.0.retain(|n| n.text != text);
        self.0.push(Notice {
            weight,
            text,
            since: None,
        });
        let over = self.0.len().saturating_sub(MOST);
        self.0.drain(..over);
    }

    /// The messages.
    pub fn shown(&self) -> &[Notice] {
        &self.0
    }

    /// Whether any of them tells what could not be done.
    pub fn has_errors(&self) -> bool {
        self.0.iter().any(|n| n.weight == Weight::Error)
    }

    /// Closes a message.
    pub fn close(&mut self, index: usize) {
        if index < self.0.len() {
            self.0.remove(index);
        }
    }

    /// Closes those that only tell of something done.
    pub fn settle(&mut self) {
        self.0.retain(|n| n.weight != Weight::Done);
    }

    /// Closes all: what they tell of is gone.
    pub fn clear(&mut self) {
        self.0.clear();
    }

    /// Lets time pass: messages that have been read go. Gives how long until the next one goes.
    pub fn pass(&mut self, now: Instant) -> Option<Duration> {
        for notice in &mut self.0 {
            notice.since.get_or_insert(now);
        }
        let left = |notice: &Notice| {
            let stays = notice.weight.stays()?;
            let shown = now.saturating_duration_since(notice.since?);
            Some(stays.saturating_sub(shown))
        };
        self.0.retain(|n| left(n) != Some(Duration::ZERO));
        self.0.iter().filter_map(left).min()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn errors_stay_and_notes_of_success_give_way() {
        let mut notices = Notices::default();
        notices.error("no such file");
        notices.done("saved");
        notices.done("saved again");
        let texts: Vec<_> = notices.shown().iter().map(|n| n.text.as_str()).collect();
        assert_eq!(texts, ["no such file", "saved again"]);
        notices.settle();
        assert_eq!(notices.shown().len(), 1);
        for n in 0..9 {
            notices.error(format!("fault {n}"));
        }
        assert_eq!(notices.shown().len(), MOST);
        notices.error("fault 8");
        assert_eq!(
            notices.shown().len(),
            MOST,
            "the same message is not repeated"
        );
    }

    #[test]
    fn what_was_done_is_told_for_a_while_and_an_error_until_it_is_closed() {
        let start = Instant::now();
        let at = |s: u64| start + Duration::from_secs(s);
        let mut notices = Notices::default();
        notices.error("no such file");
        notices.warning("the mesh is open");
        notices.done("saved");
        let next = notices.pass(at(0)).expect("one goes");
        assert_eq!(next, Duration::from_secs(6));
        notices.pass(at(5));
        assert_eq!(notices.shown().len(), 3);
        notices.pass(at(7));
        assert_eq!(notices.shown().len(), 2);
        assert_eq!(notices.pass(at(60)), None);
        assert_eq!(notices.shown()[0].weight, Weight::Error);
        notices.clear();
        assert!(notices.shown().is_empty());
    }
}
