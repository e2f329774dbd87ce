//! The lot that is shown, its choices, its fields.

use std::cell::RefCell;
use std::path::PathBuf;
use std::sync::Arc;

use evenfilm_core::recipe::Recipe;
use evenfilm_record::corrections::Corrections;
use evenfilm_record::fault::Fault;
use evenfilm_record::folder::Batch;
use evenfilm_record::lot::{Inspected, ObjectiveOutcome};
use evenfilm_record::recipe_file;

use super::Listed;
use crate::canvas::{Camera, FieldPicture, Layers, Thumb};
use crate::history::History;

/// What undo goes back and forth over.
#[derive(Clone, Debug, PartialEq)]
pub struct Chosen {
    /// Every choice.
    pub recipe: Recipe,
    /// What was corrected by hand.
    pub corrections: Corrections,
}

/// The lot that is shown.
pub struct Lot {
    /// Its folder.
    pub folder: PathBuf,
    /// Its name; its folder's until the sheet is read.
    pub name: String,
    /// As it was opened last; `None` until then, and where it cannot be measured.
    pub batch: Option<Arc<Batch>>,
    /// The choices as they are now.
    pub now: Chosen,
    /// The choices as the files have them.
    pub on_disk: Chosen,
    /// Steps back and forth.
    pub(crate) history: History<Chosen>,
    /// What the choices gave; `None` until the first run ends.
    pub measured: Option<Arc<Inspected>>,
    /// The lot as it was when that was measured.
    pub measured_batch: Option<Arc<Batch>>,
    /// What it was measured with.
    pub measured_with: Option<Chosen>,
    /// Why the journal was not told of the numbers that are shown; `None` where it was, and where there are none.
    pub not_put_down: Option<Fault>,
    /// The background run.
    pub run: Run,
    /// A card for each field.
    pub cards: Vec<Card>,
    /// The field that is shown, a place in the batch's fields.
    pub field: usize,
    /// Its picture; `None` until it is read.
    pub picture: Option<Arc<FieldPicture>>,
    /// Why its picture cannot be shown.
    pub picture_fault: Option<Fault>,
    /// Where the eye is.
    pub camera: Camera,
    /// What is drawn over the picture.
    pub layers: Layers,
    /// The share of the picture, from the left, that is bared.
    pub bared: f32,
    /// The sheet as it is being written.
    pub sheet: Option<crate::sheet::Draft>,
    /// Whether choices are saved beside the sheet of this lot although others share its recipe.
    pub own_recipe: bool,
    /// The identity of choices, as it was told last.
    identity: RefCell<Option<(Recipe, String)>>,
    /// Why the sheet cannot be shown as a form.
    pub sheet_fault: Option<Fault>,
}

/// The background run.
#[derive(Clone, Debug, Default)]
pub enum Run {
    /// The numbers are those of the choices, or there are none.
    #[default]
    Idle,
    /// A run goes on.
    Going {
        /// Share that is done, 0 to 1.
        share: f32,
        /// What is being done.
        what: String,
    },
    /// It was stopped by hand.
    Stopped,
    /// It failed.
    Failed(Fault),
}

/// A field of the lot.
#[derive(Clone, Default)]
pub struct Card {
    /// Its picture's name.
    pub name: String,
    /// Its slide.
    pub slide: String,
    /// What became of it.
    pub state: CardState,
    /// A small picture of it.
    pub thumb: Option<Arc<Thumb>>,
}

/// What became of a field.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum CardState {
    /// It waits.
    #[default]
    Waiting,
    /// It is being measured.
    Measuring,
    /// It is measured, and nothing is amiss.
    Measured,
    /// It is measured, and something should be looked at: so many flags.
    ToCheck(usize),
    /// It is left out of the numbers, and why.
    LeftOut(String),
    /// It was left out by hand for a reason that is not the recipe's, so it still counts.
    SetAside(String),
}

impl CardState {
    /// The word on the card.
    pub fn word(&self) -> String {
        match self {
            Self::Waiting => "waiting".into(),
            Self::Measuring => "measuring".into(),
            Self::Measured => "measured".into(),
            Self::ToCheck(1) => "1 thing to check".into(),
            Self::ToCheck(n) => format!("{n} things to check"),
            Self::LeftOut(why) => format!("left out: {why}"),
            Self::SetAside(why) => format!("still counted, set aside: {why}"),
        }
    }
}

impl Lot {
    /// A lot that is about to be opened.
    pub(crate) fn new(listed: &Listed) -> Self {
        let chosen = Chosen { recipe: Recipe::default(), corrections: Corrections::default() };
        Self {
            folder: listed.folder.clone(),
            name: listed.label(),
            batch: None,
            now: chosen.clone(),
            on_disk: chosen,
            history: History::default(),
            measured: None,
            measured_batch: None,
            measured_with: None,
            not_put_down: None,
            own_recipe: false,
            identity: RefCell::default(),
            run: Run::Going { share: 0.0, what: "opening".into() },
            cards: Vec::new(),
            field: 0,
            picture: None,
            picture_fault: None,
            camera: Camera::default(),
            layers: Layers::default(),
            bared: 0.0,
            sheet: None,
            sheet_fault: None,
        }
    }

    /// Whether the numbers are those of the choices as they are now.
    pub fn is_current(&self) -> bool {
        self.measured.is_some() && self.measured_with.as_ref() == Some(&self.now) && matches!(self.run, Run::Idle)
    }

    /// Whether the choices differ from what the recipe file says.
    pub fn is_unsaved(&self) -> bool {
        self.batch.is_some() && self.now.recipe != self.on_disk.recipe
    }

    /// What of it is not saved, in words; empty where all is.
    pub fn unsaved(&self) -> String {
        let sheet = self.sheet.as_ref().is_some_and(crate::sheet::Draft::is_changed);
        let what = [(self.is_unsaved(), "choices"), (sheet, "the sheet"), (self.corrections_wait(), "corrections")];
        what.into_iter().filter(|(is, _)| *is).map(|(_, what)| what).collect::<Vec<_>>().join(", ")
    }

    /// The objective that the shown field was taken with.
    pub fn objective(&self) -> Option<&ObjectiveOutcome> {
        let measured = self.measured.as_ref()?;
        let place = measured.fields.get(self.field).map_or(0, |field| field.objective);
        measured.objectives.get(place)
    }

    /// Whether a verdict may be shown: the choices are locked, saved, and measured.
    pub fn may_judge(&self) -> bool {
        self.now.recipe.locked && self.is_current()
    }

    /// Whether corrections wait to be written; the next run writes them.
    pub fn corrections_wait(&self) -> bool {
        self.now.corrections != self.on_disk.corrections
    }

    /// Whether other lots use the same recipe file.
    pub fn shares_recipe(&self) -> bool {
        let used = self.batch.as_ref().and_then(|batch| batch.recipe_file.as_ref());
        used.is_some_and(|file| file.parent() != Some(self.folder.as_path()))
    }

    /// Where the choices are saved: the recipe file in use, else one beside the sheet.
    pub fn recipe_path(&self) -> PathBuf {
        let used = self.batch.as_ref().and_then(|batch| batch.recipe_file.clone()).filter(|_| !self.own_recipe);
        used.unwrap_or_else(|| self.folder.join("recipe.toml"))
    }

    /// The identity of the choices, as records have it: the light decided as for this lot.
    pub fn identity(&self) -> Option<String> {
        let batch = self.batch.as_ref()?;
        let mut told = self.identity.borrow_mut();
        if told.as_ref().is_none_or(|(recipe, _)| *recipe != self.now.recipe) {
            let has_blank = batch.objectives.first()?.blank.is_some();
            let identity = recipe_file::resolved(&self.now.recipe, has_blank).ok().map(|recipe| recipe_file::sha256(&recipe))?;
            *told = Some((self.now.recipe.clone(), identity));
        }
        told.as_ref().map(|(_, identity)| identity.clone())
    }
}
