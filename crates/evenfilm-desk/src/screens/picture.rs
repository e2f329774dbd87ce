//! The picture and the bar below it.

use egui::Ui;

use crate::Desk;
use crate::canvas::Detail;
use crate::change::Acts;

/// What was painted last, so that it is painted again only when something changed.
#[derive(Default)]
pub(crate) struct Canvas {}

impl Canvas {
    /// Takes in a part of a picture that is not held in memory.
    pub(crate) fn detail(&mut self, _detail: Detail) {}
}

pub(super) fn show(_ui: &mut Ui, _desk: &mut Desk, _acts: &mut Acts) {}
