//! The help page: how the window is used, and the cautions.

use egui::{RichText, ScrollArea, Ui};

use super::widgets::{self, heading};

/// A part of the help page.
struct Part {
    title: &'static str,
    lines: &'static [&'static str],
}

const PARTS: &[Part] = &[
    Part {
        title: "In short",
        lines: &[
            "Open a mesh or a plan. You see the part on its plate. Beside it, in the same scale, \
             is the ribbon of its heights.",
            "Drag down the ribbon's blend column to make a band, or paint on the part with the \
             brush.",
            "Select a region in the list and set its blend. Or turn the blend into a fade and drag \
             its stops on the ribbon.",
            "Check the ribbon: it shows what each layer needs. Signs beside it mark what the \
             machine can't do.",
            "Save the plan, then prepare it. This writes the schedule, and a sheet to print or \
             keep with the job.",
        ],
    },
    Part {
        title: "Looking",
        lines: &[
            "Drag with the right button to turn the part, and with the middle button to shift it. \
             The wheel zooms to the pointer. With the Turn tool, the left button turns it too.",
            "Level makes the view straight, so that the part lines up with the ribbon. In a tilted \
             view, a line on the part shows the height under the pointer.",
            "Look inside cuts the part open at the layer cursor, the blue flag on the ruler. In the \
             strip under the part, choose another direction, move the cut, or flip it.",
        ],
    },
    Part {
        title: "Painting",
        lines: &[
            "Paint goes into the selected region. If that is the base region or a locked one, a \
             new region is made.",
            "Paint follows the skin and stops at its reach, so it does not appear on the other \
             side of a thin wall.",
            "A region higher in the list covers those below it.",
        ],
    },
    Part {
        title: "Colours on a screen",
        lines: &[
            "Colours are predicted from the spools' colours. A screen that is not calibrated shows \
             them a little wrong, so numbers are beside them.",
            "Where the light falls straight on the part, the stage shows the predicted colour \
             itself. Elsewhere it is only darker.",
        ],
    },
    Part {
        title: "Cautions",
        lines: &[
            "The nozzle and the melt chamber are far above 180 °C while printing and stay hot for \
             minutes after. The bed is hot too. Never reach in while they are hot, and keep \
             children and animals away.",
            "Molten plastic sticks to the skin and burns. Purging throws hot plastic: keep hands and face away from the nozzle.",
            "Moving axes and feed wheels pinch and pull in: keep fingers, hair and sleeves away.",
            "Heated plastic gives off fumes and fine particles, some plastics more than others. \
             Air the room, and don't sit beside a running printer for hours.",
            "A printer can catch fire. Have a smoke alarm in the room, keep anything that burns \
             away from the printer, and don't leave it running unattended.",
            "Mains parts of a printer can kill. Unplug the printer before you open any cover, and \
             leave mains wiring to a qualified person.",
            "When you print a file from this program, watch the first layers and keep the switch \
             within reach. The machine maker's manual and your local rules come before anything \
             written here.",
        ],
    },
];

/// Shows the page.
pub fn show(ui: &mut Ui) {
    ScrollArea::vertical()
        .auto_shrink([false, true])
        .show(ui, |ui| {
            ui.set_max_width(640.0);
            for part in PARTS {
                heading(ui, part.title);
                for line in part.lines {
                    match part.title {
                        "Cautions" => {
                            widgets::signed(ui, *line);
                        }
                        _ => {
                            ui.label(RichText::new(*line));
                        }
                    }
                    ui.add_space(2.0);
                }
                ui.add_space(10.0);
            }
        });
}
