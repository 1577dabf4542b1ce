//! Tells where everything on the window is, by name: for scripts that steer it by pointer.

use std::collections::BTreeMap;
use std::path::PathBuf;

use bevy::prelude::*;
use bevy_egui::{EguiContexts, EguiOutput, PrimaryEguiContext};

use crate::panels::places::named;

/// Where to write, and what was written last.
#[derive(Resource)]
pub struct Places {
    file: PathBuf,
    written: Option<String>,
}

/// The name under which the pointer stands, as the window has last seen it.
const POINTER: &str = "the pointer";

/// Writes names and places to a file whenever they change: a JSON object from each name, as
/// [`named`] has it, to `[left, top, width, height]` in pixels of the window. `the pointer` has its position, then
/// 1 while its first button is down, then how often that was let go: so a script can wait until
/// the window has seen what it did.
pub fn write_to(app: &mut App, file: PathBuf) {
    app.insert_resource(Places {
        file,
        written: None,
    })
    .add_systems(Update, ask)
    .add_systems(Last, write);
}

/// Egui describes its widgets only when asked to.
fn ask(mut contexts: EguiContexts) -> Result {
    contexts.ctx_mut()?.enable_accesskit();
    Ok(())
}

fn write(
    mut places: ResMut<Places>,
    mut let_go: Local<f64>,
    mut contexts: EguiContexts,
    outputs: Query<&EguiOutput, With<PrimaryEguiContext>>,
) -> Result {
    let (at, down, released) = contexts.ctx_mut()?.input(|i| {
        let at = i.pointer.latest_pos().unwrap_or_default();
        (at, i.pointer.primary_down(), i.pointer.primary_released())
    });
    *let_go += f64::from(u8::from(released));
    let Some(output) = outputs.iter().next() else {
        return Ok(());
    };
    let Some(tree) = &output.platform_output.accesskit_update else {
        return Ok(());
    };
    let scale = f64::from(output.pixels_per_point);
    let mut found: BTreeMap<String, [f64; 4]> = named(tree)
        .into_iter()
        .map(|(name, at)| {
            let place = [at.left(), at.top(), at.width(), at.height()];
            (
                name,
                place.map(|points| (f64::from(points) * scale).round()),
            )
        })
        .collect();
    let (x, y, down) = (f64::from(at.x), f64::from(at.y), f64::from(u8::from(down)));
    let pointer = [(x * scale).round(), (y * scale).round(), down, *let_go];
    found.insert(POINTER.to_owned(), pointer);
    let text = serde_json::to_string(&found)?;
    if places.written.as_ref() == Some(&text) {
        return Ok(());
    }
    match project::write::bytes(&places.file, text.as_bytes()) {
        Ok(()) => places.written = Some(text),
        Err(why) => error!("{why}"),
    }
    Ok(())
}
