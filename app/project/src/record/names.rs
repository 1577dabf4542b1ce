//! The names of a record's files, and what each is.

/// The file that names the others.
pub const RECORD: &str = "record.ron";

/// The most photographs of one record: more would leave no room for others in a hand-off.
pub const MOST_PHOTOGRAPHS: usize = 40;

/// The tables.
const TABLES: [(&str, &str); 2] = [
    ("colours.csv", "colours by height, for trace"),
    (
        "regions.csv",
        "colours by region and height, for a spreadsheet",
    ),
];

/// A picture of the part from the camera's place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PictureOf {
    /// The colours requested.
    Requested,
    /// The colours that should have come out.
    Printed,
    /// The colours seen.
    Seen,
    /// How far what is seen is from what should have come out.
    Off,
}

impl PictureOf {
    /// All of them, in the order they are shown.
    pub const ALL: [Self; 4] = [Self::Requested, Self::Printed, Self::Seen, Self::Off];

    /// The file of it, of a photograph by its number from 1.
    pub fn file(self, photograph: usize) -> String {
        let (name, _) = self.told();
        format!("{name}-{photograph}.png")
    }

    fn told(self) -> (&'static str, &'static str) {
        match self {
            Self::Requested => (
                "requested",
                "the part as requested, from the camera's place",
            ),
            Self::Printed => ("printed", "the part as it should have come out"),
            Self::Seen => ("seen", "the part as seen, shading taken out"),
            Self::Off => ("off", "where seen differs from as printed"),
        }
    }
}

/// The sheet of a photograph's four pictures, by its number from 1.
pub fn views(photograph: usize) -> String {
    format!("views-{photograph}.png")
}

/// The photograph with what was found drawn on it, by its number from 1.
pub fn found(photograph: usize) -> String {
    format!("found-{photograph}.png")
}

/// All files of a record but [`RECORD`], in their order.
pub fn file_names(photographs: usize) -> Vec<String> {
    let tables = TABLES.iter().map(|(name, _)| (*name).to_owned());
    let of_photograph = |number: usize| {
        let pictures = PictureOf::ALL.map(|picture| picture.file(number));
        [views(number), found(number)].into_iter().chain(pictures)
    };
    tables
        .chain((1..=photographs).flat_map(of_photograph))
        .collect()
}

/// What a file of a record is.
pub fn what_of(name: &str) -> &'static str {
    if name == RECORD {
        return "what was seen of the print, for programs";
    }
    if let Some((_, what)) = TABLES.iter().find(|(table, _)| *table == name) {
        return what;
    }
    let kind = name.split('-').next().unwrap_or(name);
    let picture = PictureOf::ALL.map(PictureOf::told);
    let picture = picture.into_iter().find(|(of, _)| *of == kind);
    match (kind, picture) {
        (_, Some((_, what))) => what,
        ("views", _) => "the four pictures of a photograph on one sheet",
        ("found", _) => "the photograph with what was found drawn on it",
        _ => "a file of the record",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_file_has_a_name_of_its_own_and_is_told() {
        let names = file_names(2);
        assert_eq!(names.len(), 2 + 2 * 6);
        let mut own = names.clone();
        own.sort();
        own.dedup();
        assert_eq!(own.len(), names.len());
        for name in names.iter().chain([&RECORD.to_owned()]) {
            assert_ne!(what_of(name), "a file of the record", "{name}");
        }
    }
}
