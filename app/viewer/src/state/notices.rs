//! Messages to the person at the window: what went wrong, and what was done.

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

/// A message; it stays until it is closed or, when nothing is wrong, overtaken.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Notice {
    /// How grave.
    pub weight: Weight,
    /// What it says.
    pub text: String,
}

/// The messages on show, oldest first.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Notices(Vec<Notice>);

/// More than this are not shown at once; the oldest go.
const MOST: usize = 4;

impl Notices {
    /// Tells that something was done. It replaces earlier messages of that kind.
    pub fn done(&mut self, text: impl Into<String>) {
        self.0.retain(|n| n.weight != Weight::Done);
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
        self.0.push(Notice { weight, text });
        let over = self.0.len().saturating_sub(MOST);
        self.0.drain(..over);
    }

    /// The messages.
    pub fn shown(&self) -> &[Notice] {
        &self.0
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
}
