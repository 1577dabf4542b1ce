//! What comes out of the nozzle, and what it costs, as a few figures.

use plan::compensate::How;
use plan::economy::{Suggestion, Waste};
use plan::{AsPrinted, JumpOffer};
use serde::{Deserialize, Serialize};

/// The figures of a part as it will be printed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Outcome {
    /// Mean ΔE00 between printed and requested colours, over the visible area.
    pub mean_de00: f64,
    /// ΔE00 that 95 % of the visible area stays within.
    #[serde(alias = "most_de00")]
    pub p95_de00: f64,
    /// The greatest ΔE00 anywhere on the visible area.
    pub worst_de00: f64,
    /// The mean ΔE00 without compensation: every command at its place.
    pub at_their_place_de00: f64,
    /// How the commands were found.
    pub how: How,
    /// How many commands there are.
    pub commands: usize,
    /// What is flushed away.
    pub waste: Waste,
    /// What would save some of it, the greatest saving first.
    pub suggestions: Vec<Suggestion>,
    /// What purging at jumps of height would cost and bring, where that is not done.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub jump_offer: Option<JumpOffer>,
}

impl Outcome {
    /// Draws the figures from a part as printed.
    pub fn of(printed: &AsPrinted) -> Self {
        Self {
            mean_de00: printed.delivery.mean_de00,
            p95_de00: printed.delivery.p95_de00,
            worst_de00: printed.delivery.worst_de00,
            at_their_place_de00: printed.compensation.before_de00,
            how: printed.compensation.how,
            commands: printed.compensation.commands.0.len(),
            waste: printed.waste,
            suggestions: printed.suggestions.clone(),
            jump_offer: printed.jump_offer.clone(),
        }
    }

    /// The same in lines of text.
    pub fn lines(&self) -> Vec<String> {
        let mut lines = vec![
            format!(
                "As printed: off by ΔE00 {:.2} on average, {:.1} at worst; 95 % of the area within {:.1}",
                self.mean_de00, self.worst_de00, self.p95_de00
            ),
            format!(
                "Commands: {} ({}); without compensation off by {:.2} on average",
                self.commands,
                how(self.how),
                self.at_their_place_de00
            ),
            format!("Flushed away: {}", waste(&self.waste)),
        ];
        for suggestion in &self.suggestions {
            lines.push(format!(
                "  to save {:.1} g: {}",
                suggestion.saves_g, suggestion.text
            ));
        }
        if let Some(offer) = &self.jump_offer {
            lines.push(offer.text.clone());
        }
        lines
    }
}

/// How commands were found, in words.
pub(crate) fn how(how: How) -> &'static str {
    match how {
        How::Plain => "at their place",
        How::Shifted => "sent ahead",
        How::Sharpened => "sent ahead, with overshoot",
    }
}

/// Waste in grams, metres, minutes, and against the part.
pub(crate) fn waste(waste: &Waste) -> String {
    match waste.flushes {
        0 => "nothing".to_owned(),
        _ => format!(
            "{:.1} g, {:.2} m, {:.0} min; {:.2} times the part",
            waste.mass_g, waste.length_m, waste.minutes, waste.ratio
        ),
    }
}
