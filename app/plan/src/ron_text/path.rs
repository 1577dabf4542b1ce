//! Where in a document a value sits.

use std::fmt;

/// One step of a [`Path`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Step {
    /// A named field.
    Field(&'static str),
    /// An element of a list, from 0.
    Index(usize),
}

/// Where in a document a value sits, from the top: `regions[2].paint`.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash)]
pub struct Path(pub Vec<Step>);

impl Path {
    /// The path of a field at the top of the document.
    pub fn field(name: &'static str) -> Self {
        Self(vec![Step::Field(name)])
    }

    /// This path and one more field.
    #[must_use]
    pub fn then(&self, name: &'static str) -> Self {
        self.with(Step::Field(name))
    }

    /// This path and an element of the list there, from 0.
    #[must_use]
    pub fn at(&self, index: usize) -> Self {
        self.with(Step::Index(index))
    }

    fn with(&self, step: Step) -> Self {
        let mut steps = self.0.clone();
        steps.push(step);
        Self(steps)
    }
}

impl fmt::Display for Path {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, step) in self.0.iter().enumerate() {
            match step {
                Step::Field(name) if i == 0 => write!(f, "{name}")?,
                Step::Field(name) => write!(f, ".{name}")?,
                Step::Index(index) => write!(f, "[{index}]")?,
            }
        }
        Ok(())
    }
}
