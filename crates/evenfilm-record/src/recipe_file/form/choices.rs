//! The table of the recipe's choices.

use super::Question::{Bare, Chance, Clump, Fields, Light, Particle};
use super::{
    AgglomerateRule, Channel, Choice, ChoiceKind, ChoiceValue, Contrast, Detect, FillHoles, Film, FrameRule, Kind, LightFrom, Reject,
    Slider, Words, range,
};
use ChoiceKind::{Flag, Kinds, Number, NumberOrAuto, Whole};

const CHANNELS: Words = &[("luminance", "Luminance"), ("red", "Red"), ("green", "Green"), ("blue", "Blue")];
const LIGHTS: Words = &[("", "The blank where there is one, else the picture"), ("blank", "The blank"), ("picture", "The picture itself")];
const FILMS: Words = &[("auto", "Told from the picture"), ("hazy", "An even haze"), ("clear", "Clear")];
const DETECTS: Words = &[("auto", "Automatic"), ("noise", "Multiple of the noise"), ("fixed", "Fixed share of the film")];
const CONTRASTS: Words = &[("constant", "All powder alike"), ("own", "Each object its own")];
const HOLES: Words = &[("dark", "Dark ones belong to it"), ("never", "Never")];
const FRAMES: Words = &[("weighted", "Whole ones, weighted"), ("all", "All as they are seen")];
const RULES: Words = &[("size", "Its diameter"), ("constituents", "Its constituents"), ("either", "Either of the two")];
const KINDS: Words = &[
    ("hollow", "Bubbles and droplets"),
    ("fibre", "Fibres"),
    ("crystal", "Needles and plates"),
    ("dust", "Dust"),
    ("unsure", "What cannot be told apart"),
];
const REJECTS: Words = &[("overlap", "Overlaps or repeats another field")];

const fn slider(low: f64, high: f64, step: f64) -> Slider {
    Slider { low, high, step }
}

const DAYS: (u64, u64) = (range::FEWEST_DAYS as u64, u32::MAX as u64);
/// What TOML can hold.
const MOST_SEED: u64 = i64::MAX as u64;

fn to_whole<T: TryFrom<u64>>(value: u64, place: &mut T) {
    if let Ok(value) = T::try_from(value) {
        *place = value;
    }
}

/// The word of a choice, if the table has it.
fn word(words: Words, word: &str) -> Option<ChoiceValue> {
    words.iter().find(|(known, _)| *known == word).map(|(known, _)| ChoiceValue::Word(known))
}

/// The words of a list, each once, in the order of the documentation.
fn list<T: Copy + Ord>(chosen: &[T], words: Words, of: fn(T) -> &'static str) -> Option<ChoiceValue> {
    let mut chosen = chosen.to_vec();
    chosen.sort_unstable();
    chosen.dedup();
    let known = |choice: T| words.iter().find(|(known, _)| *known == of(choice)).map(|(known, _)| *known);
    chosen.into_iter().map(known).collect::<Option<Vec<_>>>().map(ChoiceValue::Words)
}

fn to_list<T: Copy + Ord>(words: &[&'static str], from_word: fn(&str) -> Option<T>) -> Vec<T> {
    let mut chosen: Vec<T> = words.iter().filter_map(|word| from_word(word)).collect();
    chosen.sort_unstable();
    chosen.dedup();
    chosen
}

/// Rows: key, question, label, unit, kind, reason; where it stands in the recipe, and of what sort.
macro_rules! choices {
    ($($section:literal $key:literal $question:ident $label:literal $unit:literal $kind:expr, $reason:literal, $sort:ident $(($($arg:tt)+))? $($field:ident).+;)+) => {
        /// Every choice, by question as the file has them.
        pub const CHOICES: &[Choice] = &[$(Choice {
            section: $section, key: $key, question: $question, label: $label, unit: $unit, kind: $kind, reason: $reason,
            read: |recipe| choices!(@read $sort $(($($arg)+))? recipe.$($field).+),
            write: |recipe, value| choices!(@write $sort $(($($arg)+))? value, recipe.$($field).+),
        }),+];
    };
    (@read flag $place:expr) => { Some(ChoiceValue::Flag($place)) };
    (@write flag $value:ident, $place:expr) => { if let ChoiceValue::Flag(value) = $value { $place = value; } };
    (@read number $place:expr) => { Some(ChoiceValue::Number($place)) };
    (@write number $value:ident, $place:expr) => { if let ChoiceValue::Number(value) = $value { $place = value; } };
    (@read auto $place:expr) => { Some($place.map_or(ChoiceValue::Auto, ChoiceValue::Number)) };
    (@write auto $value:ident, $place:expr) => {
        match $value {
            ChoiceValue::Number(value) => $place = Some(value),
            ChoiceValue::Auto => $place = None,
            _ => {}
        }
    };
    (@read whole $place:expr) => { Some(ChoiceValue::Whole(u64::from($place))) };
    (@write whole $value:ident, $place:expr) => {
        if let ChoiceValue::Whole(value) = $value { to_whole(value, &mut $place); }
    };
    (@read word($type:ident $words:ident) $place:expr) => { word($words, $place.word()) };
    (@write word($type:ident $words:ident) $value:ident, $place:expr) => {
        if let ChoiceValue::Word(word) = $value { if let Some(choice) = $type::from_word(word) { $place = choice; } }
    };
    (@read open($type:ident $words:ident) $place:expr) => { word($words, $place.map_or("", $type::word)) };
    (@write open($type:ident $words:ident) $value:ident, $place:expr) => { if let ChoiceValue::Word(word) = $value { $place = $type::from_word(word); } };
    (@read list($type:ident $words:ident) $place:expr) => { list(&$place, $words, $type::word) };
    (@write list($type:ident $words:ident) $value:ident, $place:expr) => {
        if let ChoiceValue::Words(words) = $value { $place = to_list(&words, $type::from_word); }
    };
}

choices! {
    "light" "channel" Light "Channel" "" ChoiceKind::Words(CHANNELS),
        "Which plane of a colour picture is measured. Luminance is what the eye sees (ITU-R BT.709); take one colour where the powder or the film is coloured.",
        word(Channel CHANNELS) light.channel;
    "light" "from" Light "Light from" "" ChoiceKind::Words(LIGHTS),
        "A blank shows the light without the film, and only with one is the film's own darkness known. Name one of the two to make sure that every lot is read alike.",
        open(LightFrom LIGHTS) light.from;
    "light" "film" Light "The film" "" ChoiceKind::Words(FILMS),
        "Whether the film itself darkens the picture. Say clear where it does not: then all that lies outside particles counts as uncovered.",
        word(Film FILMS) light.film;
    "particles" "detect" Particle "Found by" "" ChoiceKind::Words(DETECTS),
        "How dark a pixel must be to be looked at; where edges lie does not hang on it. Automatic takes six times the film's own noise, at least 6 % and at most 40 % of its light.",
        word(Detect DETECTS) particles.detect;
    "particles" "noise_factor" Particle "Times the noise" "" Number(range::NOISE_FACTOR, slider(3.0, 12.0, 0.5)),
        "For finding by noise. Lower finds fainter particles and takes noise for some; at 6 noise alone makes next to none.",
        number particles.noise_factor;
    "particles" "fixed_level" Particle "Fixed level" "" Number(range::SHARE, slider(0.2, 0.95, 0.01)),
        "For a fixed share: pixels darker than this share of the film's light are looked at. Only for films and light that never change.",
        number particles.fixed_level;
    "particles" "edge" Particle "Edge at" "" Number(range::SHARE, slider(0.3, 0.7, 0.01)),
        "Where between surround (0) and core (1) the edge lies. Half way is where a blurred straight edge truly is; change it only to study what hangs on it.",
        number particles.edge;
    "particles" "min_diameter_um" Particle "Smallest diameter" "µm" NumberOrAuto(range::DIAMETER, slider(0.5, 10.0, 0.1)),
        "Smaller objects are found but not counted. Automatic is what the picture can bear: 6 pixels, or twice the resolution; name a larger one so that lots from different objectives are counted alike.",
        auto particles.min_diameter_um;
    "particles" "contrast" Particle "Contrast of small objects" "" ChoiceKind::Words(CONTRASTS),
        "How small objects are sized, which blur makes paler. All powder alike takes the field's shared darkness, right for one opaque powder; take each its own where small particles are truly fainter.",
        word(Contrast CONTRASTS) particles.contrast;
    "particles" "fill_holes" Particle "Holes in a particle" "" ChoiceKind::Words(HOLES),
        "Holes darker than half way between film and powder are powder seen less clearly. Never leaves every hole out.",
        word(FillHoles HOLES) particles.fill_holes;
    "gaps" "edge" Bare "Edge at" "" Number(range::SHARE, slider(0.3, 0.7, 0.01)),
        "Where between film (0) and bare (1) the edge lies. Half way is where a blurred straight edge truly is.",
        number gaps.edge;
    "gaps" "min_diameter_um" Bare "Smallest diameter" "µm" Number(range::DIAMETER, slider(0.5, 25.0, 0.5)),
        "Smaller gaps are not counted. The built-in 2 µm is our own choice; whatever it says, 6 pixels or twice the resolution are the least.",
        number gaps.min_diameter_um;
    "objects" "split" Clump "Split at necks" "" Flag,
        "Takes objects apart where they are narrow, so that a clump is known by its constituents. Without it there are no constituents and nothing by chance.",
        flag objects.split;
    "objects" "split_depth_um" Clump "Depth of a neck" "µm" Number(range::DEPTH, slider(0.0, 2.0, 0.05)),
        "How much narrower than its sides a neck must be. Higher keeps ragged particles whole, lower parts more of those that overlap; the built-in 0.15 µm is our own choice.",
        number objects.split_depth_um;
    "objects" "frame" Particle "Objects at the frame" "" ChoiceKind::Words(FRAMES),
        "Large objects are more often cut by the frame. Weighted counts whole ones and makes up for that (ISO 13322-1); all takes pieces for objects.",
        word(FrameRule FRAMES) objects.frame;
    "objects" "model_u_pct" Particle "Uncertainty of the object model" "%" Number(range::MODEL, slider(0.0, 20.0, 0.5)),
        "Standard uncertainty of diameters, because particles are not flat, opaque and in focus. 0 leaves it out; rendered spheres read up to 6 % small.",
        number objects.model_u_pct;
    "kinds" "leave_out" Particle "Kinds left out" "" Kinds(KINDS),
        "Kinds that do not count as powder. What is left out stands in the record beside what it would add.",
        list(Kind KINDS) leave_out;
    "agglomerates" "rule" Clump "Made a clump by" "" ChoiceKind::Words(RULES),
        "What makes an object an agglomerate. Its diameter needs no splitting; constituents suit powders whose single particles differ much in size.",
        word(AgglomerateRule RULES) agglomerates.rule;
    "agglomerates" "min_diameter_um" Clump "Smallest diameter" "µm" Number(range::DIAMETER, slider(1.0, 50.0, 0.5)),
        "Objects from this diameter on are agglomerates, by size. It must lie well above the single particles; the built-in 5 µm is our own choice.",
        number agglomerates.min_diameter_um;
    "agglomerates" "min_constituents" Clump "Fewest constituents" "" Whole(range::FEWEST_CONSTITUENTS as u64, u32::MAX as u64, slider(2.0, 20.0, 1.0)),
        "Objects of so many constituents are agglomerates, by constituents. Two or three may touch by chance; the built-in 4 is our own choice.",
        whole agglomerates.min_constituents;
    "fields" "reject" Fields "Fields left out" "" Kinds(REJECTS),
        "Reasons that take a field out of the numbers. Poor fields stay in, since they are often the worst of the film; two fields of one place would count it twice.",
        list(Reject REJECTS) fields.reject;
    "fields" "scale_max_age_days" Fields "Oldest scale" "days" Whole(DAYS.0, DAYS.1, slider(30.0, 730.0, 1.0)),
        "A verdict is provisional where the scale was measured longer ago. The built-in year is our own choice.",
        whole fields.scale_max_age_days;
    "fields" "check_max_age_days" Fields "Oldest check" "days" Whole(DAYS.0, DAYS.1, slider(1.0, 60.0, 1.0)),
        "A verdict is provisional where the check slide was measured longer ago. The built-in week is our own choice.",
        whole fields.check_max_age_days;
    "chance" "placements" Chance "Layings" "" Whole(1, range::MOST_PLACEMENTS as u64, slider(40.0, 1000.0, 10.0)),
        "How often the single particles are laid at random. More take longer and steady the envelope; below 39 there is none.",
        whole chance.placements;
    "chance" "seed" Chance "Seed" "" Whole(0, MOST_SEED, slider(0.0, 100.0, 1.0)),
        "Begins the random numbers; the same seed gives the same layings. Another one shows how much hangs on them.",
        whole chance.seed;
    "concern" "gap_um" Bare "Gap of concern" "µm" Number(range::DIAMETER, slider(1.0, 100.0, 1.0)),
        "The gap that matters. Where none is found, what may still be there is counted in gaps of this diameter; the built-in 25 µm is our own choice.",
        number concern.gap_um;
    "concern" "agglomerate_um" Clump "Clump of concern" "µm" Number(range::DIAMETER, slider(1.0, 100.0, 1.0)),
        "The agglomerate that matters. Where none is found, what may still be there is counted in ones of this diameter; the built-in 25 µm is our own choice.",
        number concern.agglomerate_um;
}
