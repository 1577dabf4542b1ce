//! Trying ways of weaving before anything is written: what they cost, and which regions they lose.

use plan::{Edit, SharedLayers};
use weave::compare::Means;
use weave::figures::Lost;

use super::Session;
use crate::jobs::trying::{self, Compared, Foreseen, Question};
use crate::jobs::{Job, Outcome};

impl Session {
    /// What an answer about the toolpath hangs on now.
    pub fn toolpath_question(&self) -> Option<Question> {
        let revision = self.doc.as_ref()?.revision();
        Question::of(revision, &self.toolpath.draft)
    }

    /// Regions that weaving with the options would lose; `None` where that is not known yet.
    pub fn foreseen_lost(&self) -> Option<&[Lost]> {
        let question = self.toolpath_question()?;
        let arrange = self.toolpath.draft.arrange();
        let tried = self.foreseen_now().map(|f| f.lost.as_slice());
        let compared = self.toolpath.compared.as_ref();
        let compared = compared.filter(|c| c.question == question);
        tried.or_else(|| compared.and_then(|c| c.lost_with(&arrange)))
    }

    /// What was tried last, if it is what stands in the window now.
    pub fn foreseen_now(&self) -> Option<&Foreseen> {
        let question = self.toolpath_question()?;
        let arrange = self.toolpath.draft.arrange();
        let tried = self.toolpath.foreseen.as_ref();
        tried.filter(|f| f.question == question && f.arrange == arrange)
    }

    fn trying(&self) -> Option<trying::Order> {
        if self.is_on_toolpath() || !self.toolpath.draft.can_try() {
            return None;
        }
        Some(trying::Order {
            part: self.part_as_it_stands()?,
            question: self.toolpath_question()?,
            arrange: self.toolpath.draft.arrange(),
        })
    }

    /// Weaves if it is known that no region is lost; tries that first where it is not.
    pub(super) fn weave_if_whole(&mut self) {
        match self.foreseen_lost() {
            Some([]) => self.weave(),
            Some(lost) => {
                let text = lost_text(lost);
                self.toolpath.trouble = Some(text);
            }
            None => self.try_options(true),
        }
    }

    /// Tries the options; weaves afterwards if that is wanted and nothing is lost.
    pub(super) fn try_options(&mut self, then_weave: bool) {
        let Some(order) = self.trying() else { return };
        self.toolpath.trouble = None;
        self.toolpath.then_weave = then_weave;
        let title = "Trying which regions come out";
        let job = Job::start(title, &self.waker, move |p| trying::foresee(order, p));
        self.toolpath.foreseen.start(job);
    }

    /// Compares ways to weave.
    pub(super) fn compare_ways(&mut self) {
        let Some(order) = self.trying() else { return };
        self.toolpath.trouble = None;
        let title = "Comparing ways to weave";
        let job = Job::start(title, &self.waker, move |p| trying::compare(order, p));
        self.toolpath.compared.start(job);
    }

    /// Takes what a way of weaving says: its options, or what it changes in the plan.
    pub(super) fn take_way(&mut self, means: &Means) {
        let Some(doc) = &self.doc else { return };
        match means {
            Means::Options(arrange) => self.toolpath.draft.take_options(arrange),
            Means::OneBlend => {
                let mut laying = doc.plan().laying;
                laying.shared_layers = SharedLayers::OneBlend;
                self.edit(Edit::SetLaying(laying));
            }
            Means::LayerMm(layer_mm) => {
                let mut layers = doc.plan().layers.clone();
                layers.layer_mm = *layer_mm;
                if self.edit(Edit::SetLayers(layers)) {
                    self.notices.done(format!(
                        "The plan has layers of {layer_mm} mm. Slice the part again with them."
                    ));
                }
            }
        }
    }

    pub(super) fn take_foreseen(&mut self) {
        match self.toolpath.foreseen.poll() {
            Some(Outcome::Done(found)) => {
                *self.toolpath.foreseen = Some(found);
                if std::mem::take(&mut self.toolpath.then_weave) {
                    self.weave_if_tried();
                }
            }
            Some(Outcome::Failed(why)) => self.toolpath.trouble = Some(why),
            Some(Outcome::Cancelled) => self.notices.done("The trial was cancelled."),
            None => {}
        }
    }

    /// Weaves, if what was tried is still what stands in the window.
    fn weave_if_tried(&mut self) {
        if self.foreseen_now().is_some() {
            self.weave_if_whole();
        }
    }

    pub(super) fn take_compared(&mut self) {
        match self.toolpath.compared.poll() {
            Some(Outcome::Done(found)) => *self.toolpath.compared = Some(found),
            Some(Outcome::Failed(why)) => self.toolpath.trouble = Some(why),
            Some(Outcome::Cancelled) => self.notices.done("The comparison was cancelled."),
            None => {}
        }
    }

    /// The ways that were compared, if they are of what stands in the window now.
    pub fn compared_now(&self) -> Option<&Compared> {
        let question = self.toolpath_question()?;
        let compared = self.toolpath.compared.as_ref();
        compared.filter(|c| c.question == question)
    }
}

fn lost_text(lost: &[Lost]) -> String {
    let names: Vec<&str> = lost.iter().map(|l| l.name.as_str()).collect();
    format!(
        "Nothing was written: {} would not come out. Choose other options, or weave anyway.",
        names.join(", ")
    )
}
