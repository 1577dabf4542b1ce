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
            "Open a mesh or a plan. The part stands on its plate; beside it, in the same scale, stands the ribbon of its heights.",
            "Drag down the blend column of the ribbon to make a band, or take the brush and paint on the part.",
            "Choose a region in the list and set its blend, or turn the blend into a fade and drag its stops on the ribbon.",
            "Look at the ribbon: it shows what each layer needs. Signs beside it mark what the machine can't do.",
            "Save the plan, then prepare it: that writes the schedule and a sheet to print or to keep with the job.",
        ],
    },
    Part {
        title: "Looking",
        lines: &[
            "Drag with the right button to turn the part, with the middle button to shift it; the wheel zooms to the pointer. With the Turn tool the left button turns too.",
            "Level sets the view straight, so that the part lines up with the ribbon. When the view is tilted, a line on the part shows the height that the pointer is at.",
            "Look inside cuts the part open at the layer cursor, the blue flag on the ruler.",
        ],
    },
    Part {
        title: "Painting",
        lines: &[
            "Paint goes into the chosen region. When the base region is chosen, or a locked one, a new region is made.",
            "Paint follows the skin and stops at its reach, so it does not come through to the other side of a thin wall.",
            "A region higher in the list covers those below it.",
        ],
    },
    Part {
        title: "Colours on a screen",
        lines: &[
            "Colours are predicted from the spools' measured colours. A screen that is not calibrated shows them a little off; numbers are given beside them.",
            "Where the light falls fully on the part, the stage shows the predicted colour itself; elsewhere it is only darker.",
        ],
    },
    Part {
        title: "Cautions",
        lines: &[
            "The nozzle and the melt chamber are far above 180 °C while printing and stay hot for minutes after; the bed is hot too. Never reach in while they are, and let no child or animal near.",
            "Molten plastic sticks to the skin and burns. Purging throws hot plastic: keep hands and face away from the nozzle.",
            "Moving axes and feed wheels pinch and draw in: keep fingers, hair and sleeves clear.",
            "Heated plastic gives off fumes and fine particles; some plastics more than others. Air the room, and don't stay beside a running printer for hours.",
            "A printer can catch fire. Have a smoke alarm in the room, keep it clear of anything that burns, and don't leave it running unattended.",
            "Mains parts of a printer can kill. Unplug before opening any cover, and leave work on mains wiring to a qualified person.",
            "Before you print what this program has written, watch its first layers and keep the switch within reach. The machine maker's manual and your local rules come before anything written here.",
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
