//! Whether a test print can be read from a greyscale photograph.

use plan::Plan;

/// A spool with more chroma than this is no grey: without it, its colour would be off by ΔE00 5 or
/// so (our choice, no source).
const MOST_CHROMA: f64 = 6.0;

/// What a person should know of reading a plan's test print from a greyscale photograph.
///
/// # Errors
/// A spool of the plan is clearly not grey: what is wrong, after the plan's name, and what to do.
pub fn lightness_alone(plan: &Plan) -> Result<String, String> {
    let chromas = plan.spools.iter().map(|spool| {
        let lab = spool.colour.xyz().to_lab();
        (spool.name.as_str(), lab.a.hypot(lab.b))
    });
    let most = chromas.max_by(|a, b| a.1.total_cmp(&b.1));
    let (name, chroma) = most.unwrap_or(("", 0.0));
    if chroma > MOST_CHROMA {
        return Err(format!(
            "{name} is not grey (its chroma is {chroma:.0}), and --grey reads lightness alone; \
             photograph the print in colour, or measure it with an instrument"
        ));
    }
    Ok(format!(
        "the photograph is greyscale: only lightness is read, and a* and b* are written as 0; the \
         plan's spools have a chroma of up to {chroma:.1}, so colours may be off by about as much"
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plan_of(codes: [&str; 2]) -> Plan {
        let [one, other] = codes;
        let text = format!(
            "(version: 1, title: \"Greys\", mesh: (file: \"none.stl\"), spools: [\
             (name: \"Chalk\", colour: Hex(\"{one}\")), (name: \"Other\", colour: Hex(\"{other}\"))], \
             layers: (first_layer_mm: 0.2, layer_mm: 0.2), \
             regions: [(name: \"All\", mask: Whole, paint: Fixed([0.5, 0.5]))])"
        );
        Plan::from_ron(&text).unwrap()
    }

    #[test]
    fn greys_are_read_with_a_warning_and_blue_is_not() {
        let told = lightness_alone(&plan_of(["#f0efec", "#2b2c2d"])).unwrap();
        assert!(told.contains("only lightness is read"), "{told}");
        let why = lightness_alone(&plan_of(["#f0efec", "#20407c"])).unwrap_err();
        assert!(why.starts_with("Other is not grey"), "{why}");
    }
}
