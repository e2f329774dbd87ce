//! All of it for one field.

use crate::gaps::Gap;
use crate::light::{Correction, Lamp, Optics};
use crate::objects::Object;
use crate::phases::RunMap;
use crate::plane::{Samples, Stop, Watch};
use crate::recipe::Recipe;

/// Something about a field that a reader of its numbers should know. A poor picture is a result with flags, not an error.
#[derive(Clone, Debug, PartialEq)]
pub struct Flag {
    /// Which flag: a word with underscores.
    pub id: &'static str,
    /// What was found.
    pub value: Option<f64>,
    /// What it was held against.
    pub limit: Option<f64>,
    /// What to do, in words.
    pub advice: &'static str,
}

/// The film as one field shows it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FilmSeen {
    /// Median level of the film.
    pub level: u16,
    /// Share of the field's pixels that show film, 0 to 1.
    pub share: f64,
}

/// First look at a field: light, film, noise, blur.
pub struct Surveyed {
    /// The film, where enough of it is seen to trust its level; else the slide's other fields must say.
    pub film: Option<FilmSeen>,
}

/// Everything measured in one field.
#[derive(Clone, Debug)]
pub struct FieldResult {
    /// Columns and rows.
    pub size: (u32, u32),
    /// Width of a pixel, µm.
    pub um_per_px: f64,
    /// Objects in order of their first pixel, from 3 px.
    pub objects: Vec<Object>,
    /// Gaps in order of their first pixel; empty where gaps could not be measured.
    pub gaps: Vec<Gap>,
    /// Whether bare places can be told from film.
    pub bare_measured: bool,
    /// Smallest diameter counted, µm: objects, gaps.
    pub counted_from_um: [f64; 2],
    /// Particle and gap pixels; the owner of a run indexes `objects` or `gaps`, `u32::MAX` for pieces too small to be either.
    pub phases: [RunMap; 2],
    /// Share of the film's OD at which a gap begins, %.
    pub gap_cut_od_pct: Option<f64>,
    /// Film between the gap level and half its OD, px².
    pub thin_area_px2: Option<f64>,
    /// Median optical density of the film.
    pub film_od: Option<f64>,
    /// Spread of the film's optical density between sub-areas, %.
    pub film_od_cv_pct: Option<f64>,
    /// What a reader should know.
    pub flags: Vec<Flag>,
}

/// First look at a field. Cheap; a lot surveys all fields of a slide before it measures one that shows too little film.
///
/// # Errors
/// [`Stop`].
pub fn survey<'a>(
    _field: &dyn Samples,
    _lamp: &Lamp<'a>,
    _optics: &Optics,
    _recipe: &Recipe,
    _watch: Watch<'_>,
) -> Result<(Surveyed, Correction<'a>), Stop> {
    todo!()
}

/// Measures a surveyed field. `film_elsewhere` is the median film level of the slide's other fields, used where this one shows too
/// little film.
///
/// # Errors
/// [`Stop`].
pub fn measure(
    _field: &dyn Samples,
    _surveyed: &Surveyed,
    _correction: &Correction<'_>,
    _film_elsewhere: Option<u16>,
    _optics: &Optics,
    _recipe: &Recipe,
    _watch: Watch<'_>,
) -> Result<FieldResult, Stop> {
    todo!()
}
