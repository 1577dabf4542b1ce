//! The commands of a frame.

use plan::Edit;

use super::Command;

/// The commands of a frame, in the order in which they were sent.
#[derive(Debug, Default)]
pub struct Commands(Vec<Command>);

impl Commands {
    /// Sends a command.
    pub fn send(&mut self, command: Command) {
        self.0.push(command);
    }

    /// Sends a change of the plan, whole by itself.
    pub fn edit(&mut self, edit: Edit) {
        self.send(Command::Edit(Box::new(edit)));
    }

    /// Sends what drags or types something on; `done` lets go of it.
    pub fn send_on(&mut self, command: Command, done: bool) {
        self.send(command);
        if done {
            self.send(Command::EditDone);
        }
    }

    /// Sends a change of the plan that drags or types something on; `done` lets go of it.
    pub fn edit_on(&mut self, edit: Edit, done: bool) {
        self.send_on(Command::EditOn(Box::new(edit)), done);
    }

    /// Takes them.
    pub fn take(&mut self) -> Vec<Command> {
        std::mem::take(&mut self.0)
    }

    /// Whether none was sent.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }
}
