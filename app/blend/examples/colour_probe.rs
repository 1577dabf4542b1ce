//! Answers questions about colours, one JSON object a line, so that another program can check
//! the answers: `cargo run -p blend --example colour_probe < questions`.
//!
//! | question | answer |
//! | --- | --- |
//! | `{"srgb": [r, g, b]}`, 0 to 255 | `xyz`, `lab` |
//! | `{"lab": [l, a, b]}` | `xyz`, `srgb` |
//! | `{"pair": [[l, a, b], [l, a, b]]}` | `delta_e00` |
//! | `{"spectrum": [[nm, r], ...]}` | `xyz`, `lab`, `bands` |
//! | `{"lit": {"light": "A", "bands": [36 reflectances], "other": [36]}}` | `lab`, `metamerism` |
//! | `{"reconstruct": [x, y, z]}` | `bands`, `xyz`, `delta_e00` |
//! | `{"k_over_s": r}` | `k_over_s` |
//! | `{"mix": {"spools": ["#rrggbb", ...], "shares": [...]}}` | `xyz`, `lab`, `linear_light` |
//! | `{"predict": {"measured": "pair.ron", "shares": [[...], ...]}}` | `lab` and `error_de00` of each, `model` |
//! | `{"walls": {"spools": "[(name: ...), ...]", "shares": [[...], ...]}}` in RON | `lab` of each, thick, `model` |
//!
//! XYZ has Y = 1 for the perfect diffuser. A question that can't be answered gets `error`.

use std::io::{BufRead, Write};

use blend::spectrum::{BANDS, Light, Readings, Spectrum, metamerism, reconstruct};
use blend::{
    KubelkaMunk, Lab, LinearLight, MeasuredSpools, MixModel, ShareError, Shares, Spool,
    SpoolColour, Srgb, Xyz, ciede2000, model_for,
};
use serde::Deserialize;
use serde_json::{Value, json};

#[derive(Deserialize)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
enum Question {
    Srgb([u8; 3]),
    Lab([f64; 3]),
    Pair([[f64; 3]; 2]),
    Spectrum(Readings),
    Reconstruct([f64; 3]),
    KOverS(f64),
    Mix {
        spools: Vec<Srgb>,
        shares: Vec<f64>,
    },
    Lit {
        light: String,
        bands: Vec<f64>,
        other: Vec<f64>,
    },
    Predict {
        measured: String,
        shares: Vec<Vec<f64>>,
    },
    Walls {
        spools: String,
        shares: Vec<Vec<f64>>,
    },
}

/// Reads RON as the program writes it.
fn written<T: serde::de::DeserializeOwned>(text: &str) -> Result<T, ron::error::SpannedError> {
    use ron::extensions::Extensions;
    ron::Options::default()
        .with_default_extension(Extensions::UNWRAP_VARIANT_NEWTYPES | Extensions::IMPLICIT_SOME)
        .from_str(text)
}

/// The colours of some blends, and how sure each is.
fn predicted(model: &dyn MixModel, shares: &[Vec<f64>]) -> Result<Value, ShareError> {
    let shares: Vec<Shares> = shares
        .iter()
        .map(|s| Shares::new(s))
        .collect::<Result<_, _>>()?;
    let of = |s: &Shares| list(model.mix(s).to_lab());
    let labs: Vec<[f64; 3]> = shares.iter().map(of).collect();
    let errors: Vec<Option<f64>> = shares.iter().map(|s| model.uncertainty(s)).collect();
    Ok(json!({ "lab": labs, "error_de00": errors, "model": model.name() }))
}

fn lab([l, a, b]: [f64; 3]) -> Lab {
    Lab { l, a, b }
}

fn list(lab: Lab) -> [f64; 3] {
    [lab.l, lab.a, lab.b]
}

fn answer(line: &str) -> Result<Value, Box<dyn std::error::Error>> {
    Ok(match serde_json::from_str(line)? {
        Question::Srgb(code) => {
            let xyz = Xyz::from_srgb(Srgb(code));
            json!({ "xyz": xyz.to_array(), "lab": list(xyz.to_lab()) })
        }
        Question::Lab(values) => {
            let xyz = lab(values).to_xyz();
            json!({ "xyz": xyz.to_array(), "srgb": xyz.to_srgb().0 })
        }
        Question::Pair([one, other]) => json!({ "delta_e00": ciede2000(lab(one), lab(other)) }),
        Question::Spectrum(readings) => {
            let spectrum = readings.to_spectrum();
            let xyz = spectrum.to_xyz();
            let bands = spectrum.0.to_vec();
            json!({ "xyz": xyz.to_array(), "lab": list(xyz.to_lab()), "bands": bands })
        }
        Question::Reconstruct(xyz) => {
            let made = reconstruct(Xyz::from_array(xyz));
            json!({
                "bands": made.spectrum.0.to_vec(),
                "xyz": made.spectrum.to_xyz().to_array(),
                "delta_e00": made.miss_delta_e00,
            })
        }
        Question::KOverS(reflectance) => {
            json!({ "k_over_s": blend::mix::k_over_s(reflectance) })
        }
        Question::Mix { spools, shares } => {
            let spool = |code: Srgb| Spool::new(code.to_string(), SpoolColour::Hex(code));
            let spools: Vec<Spool> = spools.into_iter().map(spool).collect();
            let shares = Shares::new(&shares)?;
            let xyz = KubelkaMunk::new(&spools).mix(&shares);
            let linear_light = LinearLight::new(&spools).mix(&shares);
            json!({
                "xyz": xyz.to_array(),
                "lab": list(xyz.to_lab()),
                "linear_light": linear_light.to_array(),
            })
        }
        Question::Lit {
            light,
            bands,
            other,
        } => {
            let light: Light = light.parse()?;
            let spectrum = |bands: Vec<f64>| <[f64; BANDS]>::try_from(bands).map(Spectrum);
            let wrong = |bands: Vec<f64>| format!("{} bands", bands.len());
            let (one, two) = (
                spectrum(bands).map_err(wrong)?,
                spectrum(other).map_err(wrong)?,
            );
            json!({
                "lab": list(one.to_lab_under(light)),
                "metamerism": metamerism(&one, &two, light),
            })
        }
        Question::Predict { measured, shares } => {
            let measured: MeasuredSpools = written(&std::fs::read_to_string(measured)?)?;
            let model = model_for(&measured.spools, Some(&measured));
            predicted(model.as_ref(), &shares)?
        }
        Question::Walls { spools, shares } => {
            let spools: Vec<Spool> = written(&spools)?;
            predicted(model_for(&spools, None).as_ref(), &shares)?
        }
    })
}

fn main() -> std::io::Result<()> {
    let mut out = std::io::BufWriter::new(std::io::stdout().lock());
    for line in std::io::stdin().lock().lines() {
        let said = answer(&line?).unwrap_or_else(|e| json!({ "error": e.to_string() }));
        writeln!(out, "{said}")?;
    }
    out.flush()
}
