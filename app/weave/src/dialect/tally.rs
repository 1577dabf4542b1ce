//! The blends of a woven file in a few characters, so that a command that is gone shows.

use blend::Shares;

/// The blends that plastic is fed in, one after another.
#[derive(Clone, Debug, Default)]
pub struct Tally {
    changes: u64,
    check: crc32fast::Hasher,
    last: Option<String>,
}

/// A tally as it is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Tallied {
    /// Changes of blend, the first included.
    pub changes: u64,
    /// CRC-32 of all blends in order.
    pub check: u32,
}

/// How the line begins that a woven file ends with.
const BEGINS: &str = "Blend changes: ";

impl Tally {
    /// Notes the blend that some plastic is fed in.
    pub fn feed(&mut self, shares: &Shares) {
        let decimals = |share: &f64| format!("{share:.6} ");
        let text: String = shares.as_slice().iter().map(decimals).collect();
        if self.last.as_ref() != Some(&text) {
            self.changes += 1;
            self.check.update(text.as_bytes());
            self.last = Some(text);
        }
    }

    /// What it came to.
    pub fn told(&self) -> Tallied {
        Tallied {
            changes: self.changes,
            check: self.check.clone().finalize(),
        }
    }
}

impl Tallied {
    /// The comment's text that a woven file ends with.
    pub fn text(&self) -> String {
        format!("{BEGINS}{}, check {:08x}", self.changes, self.check)
    }

    /// Reads a comment's text; `None` if it is another.
    ///
    /// ```
    /// use weave::dialect::Tally;
    /// let told = Tally::default().told();
    /// assert_eq!(weave::dialect::Tallied::of(told.text().as_bytes()), Some(told));
    /// ```
    pub fn of(comment: &[u8]) -> Option<Self> {
        let text = std::str::from_utf8(comment).ok()?.trim();
        let (changes, check) = text.strip_prefix(BEGINS)?.split_once(", check ")?;
        Some(Self {
            changes: changes.parse().ok()?,
            check: u32::from_str_radix(check, 16).ok()?,
        })
    }
}
