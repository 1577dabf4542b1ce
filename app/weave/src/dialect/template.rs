//! A line with named gaps: `M163 S{component} P{share}`.

/// A template taken apart.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Template {
    parts: Vec<Part>,
}

#[derive(Clone, Debug, PartialEq, Eq)]
enum Part {
    Text(String),
    Gap(String),
}

impl Template {
    /// Takes a template apart.
    ///
    /// # Errors
    /// What is wrong, in words.
    pub(super) fn new(text: &str) -> Result<Self, String> {
        let mut parts = Vec::new();
        let mut rest = text;
        while let Some(open) = rest.find('{') {
            let (before, from) = rest.split_at(open);
            let close = from
                .find('}')
                .ok_or("a { has no } after it; write gaps as {slot}")?;
            push_text(&mut parts, before)?;
            parts.push(Part::Gap(from.get(1..close).unwrap_or_default().to_owned()));
            rest = from.get(close + 1..).unwrap_or_default();
        }
        push_text(&mut parts, rest)?;
        let neighbours = parts.windows(2);
        if neighbours
            .into_iter()
            .any(|p| matches!(p, [Part::Gap(_), Part::Gap(_)]))
        {
            return Err("two gaps are side by side; put a letter between them".to_owned());
        }
        Ok(Self { parts })
    }

    /// The names of its gaps, in order.
    pub(super) fn gaps(&self) -> impl Iterator<Item = &str> {
        self.parts.iter().filter_map(|part| match part {
            Part::Gap(name) => Some(name.as_str()),
            Part::Text(_) => None,
        })
    }

    /// The line with its gaps filled.
    pub(super) fn fill(&self, value: impl Fn(&str) -> String) -> String {
        self.parts
            .iter()
            .map(|part| match part {
                Part::Text(text) => text.clone(),
                Part::Gap(name) => value(name),
            })
            .collect()
    }

    /// What stands in the gaps of a line, in order, if the line is of this form. Blanks and
    /// the case of letters mean nothing.
    pub(super) fn read(&self, line: &str) -> Option<Vec<String>> {
        let line = plain(line);
        let mut rest = line.as_str();
        let mut found = Vec::new();
        let mut parts = self.parts.iter().peekable();
        while let Some(part) = parts.next() {
            match part {
                Part::Text(text) => rest = rest.strip_prefix(plain(text).as_str())?,
                Part::Gap(_) => {
                    let end = match parts.peek() {
                        Some(Part::Text(text)) => rest.find(plain(text).as_str())?,
                        _ => rest.len(),
                    };
                    let (value, after) = rest.split_at(end);
                    found.push(value.to_owned());
                    rest = after;
                }
            }
        }
        rest.is_empty().then_some(found)
    }
}

fn push_text(parts: &mut Vec<Part>, text: &str) -> Result<(), String> {
    if text.contains('}') {
        return Err("a } has no { before it; write gaps as {slot}".to_owned());
    }
    if !plain(text).is_empty() {
        parts.push(Part::Text(text.to_owned()));
    }
    Ok(())
}

fn plain(text: &str) -> String {
    text.chars()
        .filter(|c| !c.is_ascii_whitespace())
        .map(|c| c.to_ascii_uppercase())
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_filled_can_be_read() {
        let template = Template::new("M163 S{component} P{share}").expect("sound");
        assert_eq!(template.gaps().collect::<Vec<_>>(), ["component", "share"]);
        let line = template.fill(|gap| if gap == "share" { "0.5" } else { "2" }.to_owned());
        assert_eq!(line, "M163 S2 P0.5");
        for text in [line.as_str(), "m163s2p0.5", " M163 S 2 P 0.5 "] {
            assert_eq!(
                template.read(text),
                Some(vec!["2".into(), "0.5".into()]),
                "{text}"
            );
        }
        for text in ["M163 S2", "M164 S2 P1", "T2", "", "xM163 S2 P1"] {
            assert_eq!(template.read(text), None, "{text}");
        }
        assert_eq!(
            Template::new("MIX a={shares}")
                .expect("sound")
                .read("mix A=1:2"),
            Some(vec!["1:2".into()])
        );
    }

    #[test]
    fn broken_templates_are_told() {
        assert!(Template::new("T{slot").is_err());
        assert!(Template::new("Tslot}").is_err());
        assert!(Template::new("{a}{b}").is_err());
        assert!(Template::new("T{}").is_ok()); // an unknown gap, found by the check
    }
}
