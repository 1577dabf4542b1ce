//! References of known reflectance on the photograph card, as they are typed.

use photograph::card::PLACE_NAMES;
use photograph::reference::Reference;

/// What lies on the card's places, by the reflectance that was typed for each; empty for nothing.
///
/// # Errors
/// A reflectance is none, or there is none at all: what to do.
pub fn read(typed: &[String; 3]) -> Result<Vec<Reference>, String> {
    let typed = PLACE_NAMES.iter().zip(typed);
    let typed = typed.filter(|(_, share)| !share.trim().is_empty());
    let read: Result<Vec<Reference>, String> = typed
        .map(|(place, share)| {
            let share = share.trim();
            let why = |why| format!("Reference {place}, {share}: {why}.");
            format!("{place}={share}").parse().map_err(why)
        })
        .collect();
    match read?.as_slice() {
        [] => Err(
            "Lay a reference of known reflectance on the card, and type its reflectance: 0.18 \
             for a grey card."
                .to_owned(),
        ),
        some => Ok(some.to_vec()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn references_are_numbers_and_there_is_one() {
        let none = [String::new(), " ".to_owned(), String::new()];
        assert!(read(&none).unwrap_err().contains("grey card"));
        let mut typed = ["0.9", " ", "0.04"].map(str::to_owned);
        let places: Vec<usize> = read(&typed).unwrap().iter().map(|r| r.place).collect();
        assert_eq!(places, [0, 2]);
        typed[1] = "18".to_owned();
        assert!(read(&typed).unwrap_err().contains("Reference B, 18"));
    }
}
