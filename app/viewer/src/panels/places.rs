//! Where everything on the window is, by name: for scripts that steer it by pointer.

use std::collections::BTreeMap;

use egui::Rect;
use egui::accesskit::{Node, NodeId, Role, TreeUpdate};

/// Names and places, in points, of a tree as a screen reader is given it.
///
/// A control has its own label, or that of the text beside it that labels it. Of several with one
/// name the one that comes last, and so lies on top, has the name itself; those before it have a
/// number after it, `Weave (2)`, counted backwards. Text that no control is named by stands for
/// itself.
pub fn named(tree: &TreeUpdate) -> BTreeMap<String, Rect> {
    let nodes: BTreeMap<NodeId, &Node> = tree.nodes.iter().map(|(id, node)| (*id, node)).collect();
    let mut found = BTreeMap::new();
    let mut counts: BTreeMap<String, usize> = BTreeMap::new();
    let in_order = in_order(tree, &nodes);
    for node in in_order.iter().rev() {
        let (Some(name), Some(rect)) = (control_name(node, &nodes), rect_of(node)) else {
            continue;
        };
        let count = counts.entry(name.clone()).or_default();
        *count += 1;
        found.insert(
            match *count {
                1 => name,
                count => format!("{name} ({count})"),
            },
            rect,
        );
    }
    for node in &in_order {
        if let (Some(text), Some(rect)) = (text_of(node), rect_of(node)) {
            found.entry(text.to_owned()).or_insert(rect);
        }
    }
    found
}

/// The nodes as they were drawn, which is not the order in which they are listed.
fn in_order<'a>(tree: &TreeUpdate, nodes: &BTreeMap<NodeId, &'a Node>) -> Vec<&'a Node> {
    let mut pending: Vec<NodeId> = tree.tree.iter().map(|tree| tree.root).collect();
    let mut found = Vec::with_capacity(nodes.len());
    while let Some(id) = pending.pop() {
        if let Some(node) = nodes.get(&id) {
            found.push(*node);
            pending.extend(node.children().iter().rev());
        }
    }
    found
}

fn rect_of(node: &Node) -> Option<Rect> {
    let bounds = node.bounds()?;
    let at = |x: f64, y: f64| egui::pos2(x as f32, y as f32);
    Some(Rect::from_min_max(
        at(bounds.x0, bounds.y0),
        at(bounds.x1, bounds.y1),
    ))
}

/// The text of a text.
fn text_of(node: &Node) -> Option<&str> {
    let text = node.value().filter(|_| node.role() == Role::Label)?;
    (!text.is_empty()).then_some(text)
}

fn control_name(node: &Node, nodes: &BTreeMap<NodeId, &Node>) -> Option<String> {
    let own = node.label().map(str::to_owned);
    // A text has a value; a link is given the role of one, and has a label.
    if node.role() == Role::Label && own.is_none() {
        return None;
    }
    let beside = || {
        let by = node.labelled_by().iter().filter_map(|id| nodes.get(id));
        let words: Vec<&str> = by.filter_map(|of| text_of(of).or(of.label())).collect();
        (!words.is_empty()).then(|| words.join(" "))
    };
    own.filter(|name| !name.is_empty()).or_else(beside)
}

#[cfg(test)]
mod tests {
    use egui::{ComboBox, Context, RawInput, vec2};

    use super::*;

    #[test]
    fn every_button_is_named_by_its_text_also_where_two_have_the_same() {
        let ctx = Context::default();
        ctx.enable_accesskit();
        let input = || RawInput {
            screen_rect: Some(Rect::from_min_size(egui::Pos2::ZERO, vec2(400.0, 300.0))),
            ..RawInput::default()
        };
        let draw = || {
            let mut out = ctx.run_ui(input(), |ui| {
                let _ = ui.button("Weave");
                let _ = ui.selectable_label(true, "Colour");
                let _ = ui.button(egui::RichText::new("Weave").strong());
                let _ = ui.link("More about it");
                ui.label("Weave");
                ui.label("Nothing is woven yet.");
                let label = ui.label("Goes");
                ComboBox::from_id_salt("goes")
                    .selected_text("Beside")
                    .show_ui(ui, |_| {})
                    .response
                    .labelled_by(label.id);
            });
            // Nobody draws it.
            out.textures_delta.clear();
            out
        };
        draw();
        let tree = draw().platform_output.accesskit_update.expect("a tree");
        let found = named(&tree);
        let names = [
            "Colour",
            "Weave",
            "Weave (2)",
            "More about it",
            "Goes",
            "Nothing is woven yet.",
        ];
        for name in names {
            assert!(found.contains_key(name), "{name}: {found:?}");
        }
        // The last of two has the name, and no text takes it from a control.
        assert!(found["Weave"].top() > found["Weave (2)"].top());
        assert!(found["Weave"].bottom() < found["Nothing is woven yet."].top());
        assert!(found["Goes"].width() > 60.0, "the field, not its label");
    }
}
