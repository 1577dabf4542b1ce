//! The window draws only when something happens. Egui asks for later frames (a hint that
//! opens after a moment, a blinking text cursor); one sleeping thread wakes the window then.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{RecvTimeoutError, Sender, channel};
use std::time::{Duration, Instant};

use bevy::ecs::system::SystemParam;
use bevy::prelude::*;
use bevy::window::{RequestRedraw, WindowResized, WindowScaleFactorChanged};
use bevy::winit::{EventLoopProxyWrapper, WinitUserEvent};
use bevy_egui::{EguiContexts, egui};

use super::desk::Desk;
use super::input::Pacing;
use crate::jobs::Waker;

/// How often a running job's progress is drawn.
const PROGRESS_EVERY: Duration = Duration::from_millis(100);

/// Sets the alarm: wakes the window after the shortest wait asked for.
#[derive(Resource)]
pub(super) struct Alarm(Sender<Duration>);

/// What egui has said in this frame of the next one.
#[derive(Resource, Clone, Default)]
pub(super) struct Wishes(Arc<Said>);

#[derive(Default)]
struct Said {
    at_once: AtomicBool,
    later: AtomicBool,
}

impl Wishes {
    /// Whether a frame is wanted at once, given that one is wanted at all. Egui does not say
    /// so again while it goes on wanting frames at once.
    fn at_once(&self) -> bool {
        let later = self.0.later.swap(false, Ordering::Relaxed);
        self.0.at_once.swap(false, Ordering::Relaxed) || !later
    }
}

impl Alarm {
    /// Starts the thread that sleeps.
    pub(super) fn new(waker: Waker) -> Self {
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
pub(super) fn give_waker(
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
pub(super) fn listen(
    mut contexts: EguiContexts,
    alarm: Option<Res<Alarm>>,
    wishes: Res<Wishes>,
    mut done: Local<bool>,
) -> Result {
    let Some(alarm) = alarm else { return Ok(()) };
    if *done {
        return Ok(());
    }
    let (send, wishes) = (alarm.0.clone(), wishes.clone());
    contexts
        .ctx_mut()?
        .set_request_repaint_callback(move |info: egui::RequestRepaintInfo| {
            if info.delay.is_zero() {
                wishes.0.at_once.store(true, Ordering::Relaxed);
            } else if info.delay < Duration::from_secs(3600) {
                wishes.0.later.store(true, Ordering::Relaxed);
                let _ = send.send(info.delay);
            }
        });
    *done = true;
    Ok(())
}

/// Frames that are drawn after one in which something changed: a panel takes its size in one
/// frame, what stands beside it in the next, and the camera follows that.
const SETTLING: u32 = 3;

/// What may have moved things about.
#[derive(SystemParam)]
pub(super) struct Changes<'w, 's> {
    resized: MessageReader<'w, 's, WindowResized>,
    scaled: MessageReader<'w, 's, WindowScaleFactorChanged>,
}

impl Changes<'_, '_> {
    fn any(&mut self) -> bool {
        self.resized.read().count() + self.scaled.read().count() > 0
    }
}

/// Keeps frames coming while something is still moving.
pub(super) fn keep_going(
    (desk, uploads): (NonSend<Desk>, Res<super::upload::Uploads>),
    (alarm, wishes, pacing): (Option<Res<Alarm>>, Res<Wishes>, Res<Pacing>),
    mut contexts: EguiContexts,
    mut redraws: ResMut<Messages<RequestRedraw>>,
    mut changes: Changes,
    mut settling: Local<u32>,
) {
    // The egui plugin asks for a frame at once even where egui wants one in a while.
    redraws.clear();
    let asked = contexts
        .ctx_mut()
        .is_ok_and(|ctx| ctx.has_requested_repaint());
    let at_once = wishes.at_once() && asked;
    let session = &desk.session;
    let moves = at_once
        || uploads.busy
        || session.has_skin_updates()
        || session.view_copy_wanted().is_some();
    *settling = match moves || changes.any() {
        true => SETTLING,
        false => settling.saturating_sub(1),
    };
    if *settling > 0 || pacing.waits() {
        redraws.write(RequestRedraw);
    } else if desk.session.is_working()
        && let Some(alarm) = alarm
    {
        let _ = alarm.0.send(PROGRESS_EVERY);
    }
}
