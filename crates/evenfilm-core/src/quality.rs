//! The quality of a field: flags with what was found, what it was held against, and what to do.
//!
//! [`FLAGS`] is the one table of them; README prints it. A poor picture is a result with flags, never an error, and no flag but `overlap`
//! takes a field from the numbers: whoever rejects what looks poor rejects the worst of the film with it.
//! [`light`] judges light and blank, [`sharpness`] edges, [`field`] puts together all that one field shows; [`siblings`] compares the fields
//! of a lot, [`overlap`] finds those that show one place, [`count`] says whether there are enough objects.
//! All of it comes from what survey, calibration and windows know; only a few windows of gaps and objects are read again.

use std::borrow::Cow;

pub mod count;
pub mod field;
pub mod light;
pub mod overlap;
pub mod sharpness;
pub mod siblings;
#[cfg(test)]
mod tests;

/// Something about a field that a reader of its numbers should know.
#[derive(Clone, Debug, PartialEq)]
pub struct Flag {
    /// Which flag: a word with underscores, of [`FLAGS`].
    pub id: &'static str,
    /// What was found.
    pub value: Option<f64>,
    /// What it was held against.
    pub limit: Option<f64>,
    /// What to do, in words.
    pub advice: Cow<'static, str>,
}

/// What a flag's value is held against.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Limit {
    /// The flag is up where the value is above this.
    Above(f64),
    /// The flag is up where the value is below this.
    Below(f64),
    /// What else raises it, in words.
    Where(&'static str),
}

/// What there is to know of a flag.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct About {
    /// Its word.
    pub id: &'static str,
    /// What its value is, or what it says.
    pub means: &'static str,
    /// When it is up.
    pub limit: Limit,
    /// What to do.
    pub advice: &'static str,
}

macro_rules! flags {
    ($($(#[$doc:meta])* $name:ident = $id:literal, $means:literal, $limit:expr, $advice:literal;)+) => {
        /// Every flag by name.
        #[derive(Clone, Copy, Debug, PartialEq, Eq)]
        pub enum FlagId { $(#[doc = $means] $name),+ }
        /// Every flag, in the order of [`FlagId`].
        pub const FLAGS: &[About] = &[$(About { id: $id, means: $means, limit: $limit, advice: $advice }),+];
    };
}

flags! {
    Black = "black", "median transmission of the picture", Limit::Below(0.002),
        "the picture is black; check lamp, shutter and exposure";
    NoBlank = "no_blank", "the light was taken from the picture itself", Limit::Where("no blank"),
        "photograph a blank at the same exposure";
    RelativeToFilm = "relative_to_film", "dark field: levels are relative to the film", Limit::Where("no picture of an even scatterer"),
        "without a picture of an even scatterer, the light was taken from the film, and bare area is known only beside it: no verdict should rest on it";
    NoDark = "no_dark", "dark field: bare was taken as black", Limit::Where("no dark picture"),
        "without a picture of the empty slide in dark field, bare places were taken as black";
    Dim = "dim", "count of the empty slide ÷ full scale of the camera", Limit::Below(0.1),
        "little light reaches the camera, and noise and rounding grow; more light or a longer exposure, for the blank too";
    UnevenLight = "uneven_light", "darkest ÷ lightest part of the light", Limit::Below(0.4),
        "the light falls off strongly to a side or the corners; centre lamp and condenser, then take the blank again";
    BlankDiffers = "blank_differs", "level of bare places ÷ the blank's; or a film level that is off in one part of all fields; or spots of the blank seen in all fields", Limit::Where("above 1.03 or below 0.94; off by 3 % in all fields; any spot"),
        "the blank does not fit the fields: take it again with their lamp, exposure, objective and focus, and without moving camera or slide holder";
    ExposureChanged = "exposure_changed", "exposure time or gain of the field, by its file", Limit::Where("not the blank's, by over 0.1 %"),
        "levels and optical density are off; take blank and fields with one setting";
    Lossy = "lossy", "1: the field was packed with loss; 0: only the blank", Limit::Where("a JPEG"),
        "packing with loss blurs and shifts edges; save fields and blank as TIFF or PNG";
    Clipped = "clipped", "share of the film's pixels at the camera's full scale", Limit::Above(0.001),
        "film at the camera's full scale: its level there is too low by an unknown amount; expose less";
    BareClipped = "bare_clipped", "share of the bare pixels at the camera's full scale", Limit::Above(0.01),
        "bare places are at the camera's full scale: optical densities are off, the uncovered area hardly; expose less";
    ParticlesClipped = "particles_clipped", "share of the particles' pixels that are black (in dark field at full scale)", Limit::Above(0.05),
        "particles are beyond the camera's range: their optical density is off, their area hardly; expose more (in dark field less)";
    MostlyBare = "mostly_bare", "share of the pixels that show film", Limit::Where("below 0.02, or no sub-area with film"),
        "too little film shows; its level was taken from the slide's other fields";
    ClearFilm = "clear_film", "level of the film ÷ empty slide", Limit::Where("above 0.97, or the recipe says so"),
        "the film is as light as the empty slide; everything outside particles counts as uncovered";
    Noise = "noise", "noise of a pixel ÷ level of the film", Limit::Above(0.05),
        "the picture is noisy: faint particles are missed, small sizes scatter; more light, or average several pictures";
    TooNoisy = "too_noisy", "share of the pixels in specks of noise", Limit::Above(0.02),
        "much of the picture is single dark or light pixels; expose longer, or average several pictures";
    Unsharp = "unsharp", "width of the edges ÷ what aperture and wavelength allow", Limit::Above(1.4),
        "the field is out of focus, or the lens does not reach its aperture; focus again, check cover glass and condenser";
    UnsharpObjects = "unsharp_objects", "share of the objects with a measured edge whose edge is wider than 1.5 times what is allowed", Limit::Above(0.2),
        "many objects lie out of focus and read too large or too small; focus on the middle of the film, or cast it thinner";
    MotionBlur = "motion_blur", "width of the edges in the widest direction ÷ across it", Limit::Above(1.3),
        "edges are blurred in one direction: stage or camera moved, or the lens is astigmatic; let it settle, expose shorter";
    BlurNotMeasured = "blur_not_measured", "edges that the blur was measured on", Limit::Below(1.0),
        "no edge was long enough to measure the blur; it was taken from the optics, or assumed to be 1 px";
    NoObjects = "no_objects", "objects found", Limit::Below(1.0),
        "no particle was found; check focus and light";
    FewObjects = "few_objects", "of the lot: objects counted", Limit::Where("below the number for x50_3_um to the wanted accuracy"),
        "too few objects for the volume median to the wanted accuracy (10 % unless the limits say otherwise); measure more fields";
    FewPixels = "few_pixels", "share of the particle area in objects less than 6 px across", Limit::Above(0.4),
        "much of the powder is too few pixels across to be sized; use a higher magnification or smaller pixels";
    BelowResolution = "below_resolution", "share of the particle area in objects less than two resolutions across", Limit::Above(0.4),
        "much of the powder is smaller than the lens resolves well; use an objective of higher aperture; more pixels do not help";
    TooDense = "too_dense", "share of the picture that particles cover; or pieces too large to look at", Limit::Above(0.25),
        "particles touch by chance everywhere; dilute, or cast thinner";
    ManyLeftOut = "many_left_out", "share of the objects of countable size that are of kinds left out", Limit::Above(0.2),
        "many objects are of kinds that do not count; look at the overlay, and if they are powder, take their kind out of leave_out";
    UnlikeSiblings = "unlike_siblings", "largest difference from the lot's other fields in film density, edge width or noise ÷ what is tolerated", Limit::Above(1.0),
        "film density, focus or noise is not that of the other fields; check that it is the same slide, lamp and focus";
    Overlap = "overlap", "share of the field that an earlier field shows too", Limit::Above(0.1),
        "it shows a place that an earlier field shows; move on by more than a field";
    ScaleOld = "scale_old", "of the lot: days since the scale was measured", Limit::Where("above scale_max_age_days of the recipe"),
        "the scale was measured longer ago than the recipe allows; photograph a ruling and measure it again";
    ScaleUnsure = "scale_unsure", "of the lot: nobody says how well the scale is known", Limit::Where("no um_per_px_u, and there are limits"),
        "the intervals do not contain the scale's uncertainty; photograph a ruling, measure the scale, and state um_per_px_u";
    NotLocked = "not_locked", "of the lot: the recipe is not locked", Limit::Where("there are limits"),
        "its choices could still be changed to suit the lot, so the verdict is provisional; lock the recipe: locked = true";
    NoPlan = "no_plan", "of the lot: the sheet has no plan", Limit::Where("there are limits"),
        "the verdict is provisional; fix number and placing of slides and fields before photographing: slides, fields and placement in [plan]";
    PlanNotKept = "plan_not_kept", "of the lot: slides or fields that the numbers rest on", Limit::Where("not those of the plan or of its one extension"),
        "the numbers rest on another number of slides or fields than the plan, and its one extension, name, so the verdict is provisional";
    PlacedByEye = "placed_by_eye", "of the lot: fields were chosen by looking", Limit::Where("the plan says so, and there are limits"),
        "fields chosen by looking are no sample of the slide, so the verdict is provisional; place them on a grid or at random";
    NoCheck = "no_check", "of the lot: no check slide to rest on", Limit::Where("there are limits, and no whole record of one in the output folder"),
        "the verdict is provisional; keep a slide, measure it with purpose = \"check\" and limits of its own, and name its lot: check in [microscope]";
    CheckOld = "check_old", "of the lot: days since the check was measured", Limit::Where("above check_max_age_days of the recipe"),
        "the check was measured longer ago than the recipe allows, so the verdict is provisional; measure it again";
    CheckNotWithin = "check_not_within", "of the lot: the latest record of the check is not within its limits", Limit::Where("its verdict"),
        "find out what changed at the microscope before trusting this lot; its verdict is provisional";
    OtherLot = "other_lot", "of the lot: pictures that another lot counts too", Limit::Above(0.0),
        "a picture shows one film and belongs to one lot; find out whose it is (notes and journal name the other lot)";
    TimesDisagree = "times_disagree", "of the lot: times that stand before what must have come first", Limit::Above(0.0),
        "a clock was wrong or set back; check those of camera and computer";
    NoReason = "no_reason", "of the lot: number of this record, for which nobody said why the lot was measured again", Limit::Where("a record before it, and no reason"),
        "say why: measure with --reason, or at the desk when the record is kept";
    ChangedSince = "changed_since", "of the lot: how many of recipe, limits and plan were others when numbers of the lot were shown before", Limit::Where("there are limits, and the journal knows of such numbers"),
        "what decides should be fixed before anyone sees numbers";
    NotApproved = "not_approved", "of the lot: how many of recipe and limits nobody approved", Limit::Where("the lab's settings are in controlled mode, and there are limits"),
        "the verdict is provisional; take recipe and limits from the lab's folder of approved ones, or have these approved";
    SettingsOpen = "settings_open", "of the lot: who measured could change the lab's settings", Limit::Where("they are in controlled mode, and there are limits"),
        "the verdict is provisional; the file of settings must belong to somebody else, and nobody at the bench may write to it";
    RejectedByHand = "rejected_by_hand", "rejected for a reason that is not the recipe's", Limit::Where("corrections.csv"),
        "it was rejected by hand for a reason that is not one of the recipe's, so it stays in the numbers; record-without-rejected.csv has them without it";
}

impl FlagId {
    /// What there is to know of it.
    pub const fn about(self) -> &'static About {
        &FLAGS[self as usize]
    }

    /// Its word.
    pub const fn word(self) -> &'static str {
        self.about().id
    }

    /// The flag, with the table's advice.
    pub fn flag(self, value: impl Into<Option<f64>>, limit: impl Into<Option<f64>>) -> Flag {
        Flag { id: self.word(), value: value.into(), limit: limit.into(), advice: self.about().advice.into() }
    }

    /// The flag where `value` lies beyond the table's limit; never for a value that is no number.
    pub fn check(self, value: f64) -> Option<Flag> {
        let (up, limit) = match self.about().limit {
            Limit::Above(limit) => (value > limit, limit),
            Limit::Below(limit) => (value < limit, limit),
            Limit::Where(_) => return None,
        };
        up.then(|| self.flag(value, limit))
    }
}

impl Flag {
    /// The same flag with other advice.
    #[must_use]
    pub fn with_advice(self, advice: impl Into<Cow<'static, str>>) -> Self {
        Self { advice: advice.into(), ..self }
    }
}

impl About {
    /// When the flag is up, in words.
    pub fn limit_in_words(&self) -> String {
        match self.limit {
            Limit::Above(limit) => format!("above {limit}"),
            Limit::Below(limit) => format!("below {limit}"),
            Limit::Where(words) => words.to_owned(),
        }
    }
}
