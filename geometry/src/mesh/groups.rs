//! Names that a file gives to its facets: objects, and groups within them.

use std::collections::HashSet;

/// The most characters of a name that are kept.
const MOST_LETTERS: usize = 200;

/// An object and a group of it; either may have no name.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
struct Name {
    object: String,
    group: String,
}

/// Runs of facets and the object and group that each belongs to.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Groups {
    names: Vec<Name>,
    /// The first facet of each run and its name, rising.
    runs: Vec<(u32, u32)>,
}

impl Groups {
    /// Facets from this one on belong to this object and group. Control characters in names
    /// are replaced, and long names cut.
    pub fn begin(&mut self, object: &str, group: &str, facet: usize) {
        let name = Name {
            object: tidy(object),
            group: tidy(group),
        };
        if self.names.is_empty() && name == Name::default() {
            return;
        }
        // A name that comes again later is kept again: looking through all would take long.
        if self.names.last() != Some(&name) {
            self.names.push(name);
        }
        let run = (facet as u32, self.names.len() as u32 - 1);
        match self.runs.last_mut() {
            Some(last) if last.0 == run.0 => *last = run,
            _ => self.runs.push(run),
        }
    }

    /// Every name, in the order of the file, each once.
    pub fn names(&self) -> Vec<&str> {
        let used = self
            .runs
            .iter()
            .filter_map(|run| self.names.get(run.1 as usize));
        let mut met = HashSet::new();
        used.flat_map(|n| [n.object.as_str(), n.group.as_str()])
            .filter(|name| !name.is_empty() && met.insert(*name))
            .collect()
    }

    /// The names of a facet's object and group, if it has any.
    pub fn of_facet(&self, facet: usize) -> Option<(&str, &str)> {
        let next = self.runs.partition_point(|run| run.0 as usize <= facet);
        let run = self.runs.get(next.checked_sub(1)?)?;
        let name = self.names.get(run.1 as usize)?;
        Some((&name.object, &name.group))
    }

    /// Whether a facet belongs to an object or group of this name.
    pub(crate) fn is_in(&self, facet: usize, name: &str) -> bool {
        self.of_facet(facet)
            .is_some_and(|(object, group)| object == name || group == name)
    }

    /// Takes in another mesh's names, whose facets follow from this one on.
    pub(crate) fn append(&mut self, other: &Self, from_facet: usize) {
        self.begin("", "", from_facet);
        for (facet, number) in &other.runs {
            if let Some(name) = other.names.get(*number as usize) {
                self.begin(&name.object, &name.group, from_facet + *facet as usize);
            }
        }
    }

    /// The names of the facets with these numbers, which rise, numbered anew.
    pub(crate) fn of_kept(&self, kept: &[usize]) -> Self {
        let mut runs: Vec<(u32, u32)> = Vec::new();
        for &(facet, number) in &self.runs {
            let at = kept.partition_point(|&k| k < facet as usize) as u32;
            match runs.last_mut() {
                Some(last) if last.0 == at => last.1 = number,
                _ => runs.push((at, number)),
            }
        }
        Self {
            names: self.names.clone(),
            runs,
        }
    }
}

fn tidy(name: &str) -> String {
    let plain = |c: char| if c.is_control() { '\u{fffd}' } else { c };
    name.trim().chars().take(MOST_LETTERS).map(plain).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn facets_are_in_the_object_and_group_begun_before_them() {
        let mut groups = Groups::default();
        groups.begin("", "", 0);
        groups.begin("cup", "", 2);
        groups.begin("cup", "rim", 5);
        groups.begin("lid\u{1b}[31m", "", 7);
        assert_eq!(groups.names(), ["cup", "rim", "lid\u{fffd}[31m"]);
        assert!(!groups.is_in(1, "cup") && groups.is_in(2, "cup") && groups.is_in(6, "cup"));
        assert!(!groups.is_in(4, "rim") && groups.is_in(6, "rim") && !groups.is_in(7, "rim"));
        let kept = groups.of_kept(&[0, 3, 6, 9]);
        assert!(!kept.is_in(0, "cup") && kept.is_in(1, "cup") && kept.is_in(2, "rim"));
        assert!(kept.is_in(3, "lid\u{fffd}[31m"));
        let mut joined = kept.clone();
        joined.append(&groups, 4);
        assert!(!joined.is_in(4, "cup") && joined.is_in(6, "cup"));
    }
}
