//! Tells where everything on the window is, by name: for scripts that steer it by pointer.

use std::collections::BTreeMap;
use std::path::PathBuf;

use bevy::prelude::*;
use bevy_egui::{EguiContexts, EguiOutput, PrimaryEguiContext};

/// Where to write, and what was written last.
#[derive(Resource)]
pub struct Places {
    file: PathBuf,
    written: Option<String>,
}

/// Writes names and places to a file whenever they change: a JSON object from each name to
/// `[left, top, width, height]` in pixels of the window.
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

fn write(mut places: ResMut<Places>, outputs: Query<&EguiOutput, With<PrimaryEguiContext>>) {
    let Some(output) = outputs.iter().next() else {
        return;
    };
    let Some(tree) = &output.platform_output.accesskit_update else {
        return;
    };
    let scale = f64::from(output.pixels_per_point);
    let mut found = BTreeMap::new();
    for (_, node) in &tree.nodes {
        let (Some(name), Some(bounds)) = (node.label(), node.bounds()) else {
            continue;
        };
        let (left, top) = (bounds.x0 * scale, bounds.y0 * scale);
        let (width, height) = (bounds.width() * scale, bounds.height() * scale);
        found.insert(name.to_owned(), [left, top, width, height].map(f64::round));
    }
    let Ok(text) = serde_json::to_string(&found) else {
        return;
    };
    if places.written.as_ref() == Some(&text) {
        return;
    }
    match handoff::write::bytes(&places.file, text.as_bytes()) {
        Ok(()) => places.written = Some(text),
        Err(why) => error!("{why}"),
    }
}
