//! The window draws only when something happens. Egui asks for later frames (a hint that
//! opens after a moment, a blinking text cursor); one sleeping thread wakes the window then.

use std::sync::mpsc::{RecvTimeoutError, Sender, channel};
use std::time::{Duration, Instant};

use bevy::prelude::*;
use bevy::winit::{EventLoopProxyWrapper, WinitUserEvent};
use bevy_egui::{EguiContexts, egui};

use super::Desk;
use crate::jobs::Waker;

/// How often a running job's progress is drawn.
const PROGRESS_EVERY: Duration = Duration::from_millis(100);

/// Sets the alarm: wakes the window after the shortest wait asked for.
#[derive(Resource)]
pub struct Alarm(Sender<Duration>);

impl Alarm {
    /// Starts the thread that sleeps.
    pub fn new(waker: Waker) -> Self {
        let (send, asked) = channel::<Duration>();
        std::thread::spawn(move || {
            let mut due: Option<Instant> = None;
            loop {
                let wait = due.map_or(Duration::MAX, |d| {
                    d.saturating_duration_since(Instant::now())
                });
                match asked.recv_timeout(wait) {
                    Ok(after) => {
                        let at = Instant::now() + after;
                        due = Some(due.map_or(at, |d| d.min(at)));
                    }
                    Err(RecvTimeoutError::Timeout) => {
                        due = None;
                        waker.wake();
                    }
                    Err(RecvTimeoutError::Disconnected) => return,
                }
            }
        });
        Self(send)
    }
}

/// Makes the waker that background threads use.
pub fn give_waker(
    proxy: Res<EventLoopProxyWrapper>,
    mut desk: NonSendMut<Desk>,
    mut commands: Commands,
) {
    let proxy = (**proxy).clone();
    let waker = Waker::new(move || {
        // The loop is gone only when the window is, too.
        let _ = proxy.send_event(WinitUserEvent::WakeUp);
    });
    desk.session.set_waker(waker.clone());
    commands.insert_resource(Alarm::new(waker));
}

/// Hands egui's wishes for a later frame to the alarm.
pub fn listen(
    mut contexts: EguiContexts,
    alarm: Option<Res<Alarm>>,
    mut done: Local<bool>,
) -> Result {
    let Some(alarm) = alarm else { return Ok(()) };
    if *done {
        return Ok(());
    }
    let send = alarm.0.clone();
    contexts
        .ctx_mut()?
        .set_request_repaint_callback(move |info: egui::RequestRepaintInfo| {
            // Frames wanted at once are asked for by the egui plugin.
            if !info.delay.is_zero() && info.delay < Duration::from_secs(3600) {
                let _ = send.send(info.delay);
            }
        });
    *done = true;
    Ok(())
}

/// Keeps frames coming while something is still moving.
pub fn keep_going(
    desk: NonSend<Desk>,
    uploads: Res<super::upload::Uploads>,
    alarm: Option<Res<Alarm>>,
    mut redraw: MessageWriter<bevy::window::RequestRedraw>,
) {
    if uploads.busy || desk.session.has_skin_updates() {
        redraw.write(bevy::window::RequestRedraw);
    } else if desk.session.is_working()
        && let Some(alarm) = alarm
    {
        let _ = alarm.0.send(PROGRESS_EVERY);
    }
}
