//! The tables of the sheet and the words in them.

use jiff::civil::Date;

use crate::fault::Fault;
use crate::toml_file::{Entry, Section, Span};
use crate::words::choices;

/// What a table of the sheet has in common with the others.
pub(super) trait Part: Sized {
    /// Reads its keys; refuses others.
    fn read(section: &Section<'_>) -> Result<Self, Fault>;
    /// The same, with what is absent taken from `default`.
    fn or(self, default: &Self) -> Self;
}

/// A table whose keys are all optional: the struct, how each key is read, what lies in a record.
macro_rules! part {
    ($(#[$doc:meta])* $name:ident { $($(#[$fdoc:meta])* $field:ident : $type:ty = $method:ident ( $($arg:expr),* )),+ $(,)? }) => {
        $(#[$doc])*
        #[derive(Clone, Debug, Default, PartialEq)]
        pub struct $name { $($(#[$fdoc])* pub $field: Option<$type>),+ }
        impl $name {
            /// Every key that is known, in the order of the documentation.
            pub const KEYS: &'static [&'static str] = &[$(stringify!($field)),+];
            /// Every key that is given, in the order of the documentation.
            pub fn entries(&self) -> Vec<(&'static str, Entry)> {
                let all = [$((stringify!($field), self.$field.clone().map(Entry::from))),+];
                all.into_iter().filter_map(|(key, value)| Some((key, value?))).collect()
            }
        }
        impl Part for $name {
            fn read(section: &Section<'_>) -> Result<Self, Fault> {
                Ok(Self { $($field: section.$method(stringify!($field) $(, $arg)*)?),+ })
            }
            fn or(self, default: &Self) -> Self {
                Self { $($field: self.$field.or_else(|| default.$field.clone())),+ }
            }
        }
    };
}

choices! {
    /// Why the pictures were taken.
    Purpose {
        /// A production or trial lot.
        Lot = "lot",
        /// The reference slide.
        Check = "check",
        /// A study of the measurement itself.
        Study = "study",
    }
}
choices! {
    /// What the powder was dispersed with.
    Device {
        /// Rotor and stator.
        RotorStator = "rotor_stator",
        /// High-pressure homogeniser.
        HighPressure = "high_pressure",
        /// Stirred or shaken beads.
        BeadMill = "bead_mill",
        /// Three rolls.
        ThreeRoll = "three_roll",
        /// Sonotrode or bath.
        Ultrasonic = "ultrasonic",
        /// Stirred by hand.
        Hand = "hand",
    }
}
choices! {
    /// How the fields were placed.
    Placement {
        /// On a grid fixed beforehand.
        Grid = "grid",
        /// At random.
        Random = "random",
        /// Chosen by looking, which is not a sample.
        ByEye = "by eye",
    }
}
choices! {
    /// How the slide was lit.
    Mode {
        /// Light through the film.
        Transmitted = "transmitted",
        /// Scattered light on a dark ground.
        Darkfield = "darkfield",
    }
}
choices! {
    /// What the counts of a picture stand for.
    Tone {
        /// Counts are proportional to light.
        Linear = "linear",
        /// Counts are coded for a display (IEC 61966-2-1).
        Srgb = "srgb",
    }
}
choices! {
    /// What a picture is for.
    Role {
        /// Measured.
        Field = "field",
        /// The empty slide.
        Blank = "blank",
        /// The closed shutter.
        Dark = "dark",
        /// A ruling of known pitch.
        Ruling = "ruling",
        /// The slide as a whole.
        Overview = "overview",
        /// The slide's label.
        Label = "label",
        /// Kept, not measured.
        Evidence = "evidence",
    }
}

part! {
    /// The keys above the first section, without `lot`.
    About {
        /// Product.
        product: String = text(),
        /// Why the pictures were taken; [`Sheet::read`](super::Sheet::read) fills in [`Purpose::Lot`].
        purpose: Purpose = choice(Purpose::ALL, Purpose::word),
        /// Day of sampling.
        sampled_on: Date = day(),
        /// A person's code.
        operator: String = text(),
        /// Where it was measured.
        bench: String = text(),
        /// Where the retained sample lies.
        retained_sample: String = text(),
    }
}
part! {
    /// `[powder]`
    Powder {
        /// Grade.
        grade: String = text(),
        /// The supplier's lot.
        supplier_lot: String = text(),
        /// Coating.
        coating: String = text(),
        /// g/cm³, above 0.
        density_g_cm3: f64 = number(Span::up_to(30.0)),
        /// µm, above 0.
        primary_diameter_um: f64 = number(Span::POSITIVE),
    }
}
part! {
    /// `[mixing]`
    Mixing {
        /// The setting in words; lots are compared by it.
        setting: String = text(),
        /// Kind of device.
        device: Device = choice(Device::ALL, Device::word),
        /// mm, above 0.
        rotor_diameter_mm: f64 = number(Span::POSITIVE),
        /// mm, above 0.
        gap_mm: f64 = number(Span::POSITIVE),
        /// Revolutions per minute, from 0.
        speed_rpm: f64 = number(Span::NOT_NEGATIVE),
        /// Minutes, from 0.
        time_min: f64 = number(Span::NOT_NEGATIVE),
        /// Passes, from 0.
        passes: u32 = whole(0),
        /// °C, above absolute zero.
        temperature_c: f64 = number(Span::from_to(-273.15, 1000.0)),
        /// kg, above 0.
        batch_mass_kg: f64 = number(Span::POSITIVE),
        /// Litres, above 0.
        batch_volume_l: f64 = number(Span::POSITIVE),
        /// W net of idling, from 0.
        power_w: f64 = number(Span::NOT_NEGATIVE),
        /// Power number, above 0.
        power_number: f64 = number(Span::POSITIVE),
        /// Pumping number, above 0.
        pumping_number: f64 = number(Span::POSITIVE),
        /// Pa·s, above 0.
        viscosity_pa_s: f64 = number(Span::POSITIVE),
        /// kg/m³, above 0.
        density_kg_m3: f64 = number(Span::up_to(30_000.0)),
        /// bar, from 0.
        pressure_bar: f64 = number(Span::NOT_NEGATIVE),
        /// Bead diameter, mm, above 0.
        bead_mm: f64 = number(Span::POSITIVE),
        /// Distance between rolls, µm, above 0.
        nip_um: f64 = number(Span::POSITIVE),
    }
}
part! {
    /// `[sample]`
    Sample {
        /// Days since mixing, from 0.
        age_days: f64 = number(Span::NOT_NEGATIVE),
        /// °C, above absolute zero.
        stored_at_c: f64 = number(Span::from_to(-273.15, 1000.0)),
        /// Where in the container it was taken.
        sampled_from: String = text(),
        /// Whether it was shaken again before sampling.
        reshaken: bool = flag(),
        /// mm, above 0.
        container_height_mm: f64 = number(Span::POSITIVE),
        /// Pa·s, above 0.
        carrier_viscosity_pa_s: f64 = number(Span::POSITIVE),
    }
}
part! {
    /// `[slide]` and `[slides.X]`
    Slide {
        /// Substrate.
        substrate: String = text(),
        /// µm, above 0; recorded, never used as a thickness.
        applicator_gap_um: f64 = number(Span::POSITIVE),
        /// µm, above 0.
        wet_thickness_um: f64 = number(Span::POSITIVE),
        /// Its standard uncertainty, µm, from 0.
        wet_thickness_um_u: f64 = number(Span::NOT_NEGATIVE),
        /// Dry powder in what was cast, % w/w, 0 to 100.
        powder_pct_w_w: f64 = number(Span::PERCENT),
        /// Solids, %, 0 to 100.
        nonvolatile_pct: f64 = number(Span::PERCENT),
        /// g/cm³, above 0.
        carrier_density_g_cm3: f64 = number(Span::up_to(30.0)),
        /// Diluent.
        diluent: String = text(),
        /// How the film was dried.
        dried: String = text(),
    }
}
part! {
    /// `[plan]`, fixed before photographing
    Plan {
        /// Slides, from 1.
        slides: u32 = whole(1),
        /// Fields, from 1.
        fields: u32 = whole(1),
        /// How fields are placed.
        placement: Placement = choice(Placement::ALL, Placement::word),
        /// mm, from 0.
        edge_margin_mm: f64 = number(Span::NOT_NEGATIVE),
        /// Slides that may be added once where the first look decides nothing, from 0.
        extension_slides: u32 = whole(0),
        /// Fields that may be added once where the first look decides nothing, from 1; on slides of the plan or of the extension.
        extension_fields: u32 = whole(1),
    }
}
part! {
    /// `[microscope]` and `[microscopes.X]`
    Microscope {
        /// How the slide was lit; [`Sheet::read`](super::Sheet::read) fills in [`Mode::Transmitted`].
        mode: Mode = choice(Mode::ALL, Mode::word),
        /// Width of a pixel in the film, µm, above 0.
        um_per_px: f64 = number(Span::up_to(1000.0)),
        /// Its standard uncertainty, µm, from 0.
        um_per_px_u: f64 = number(Span::NOT_NEGATIVE),
        /// What it was measured with.
        scale_source: String = text(),
        /// When.
        scale_date: Date = day(),
        /// Of the objective, above 0.
        numerical_aperture: f64 = number(Span::up_to(1.7)),
        /// Of the condenser, above 0.
        condenser_na: f64 = number(Span::up_to(1.7)),
        /// Mean wavelength, nm.
        wavelength_nm: f64 = number(Span::from_to(100.0, 3000.0)),
        /// What counts stand for; needed for 8-bit pictures.
        tone: Tone = choice(Tone::ALL, Tone::word),
        /// The count at which the camera saturates, above 0; of float pictures the value that stands for full light.
        full_scale: f64 = number(Span::POSITIVE),
        /// Lot name of the retained slide that shows whether this microscope still measures as it did.
        check: String = text(),
        /// Picture of the empty slide, relative to the lot's folder.
        blank: String = name(),
        /// Picture of the closed shutter, relative to the lot's folder.
        dark: String = name(),
    }
}
part! {
    /// What `[[picture]]` says beside file and role
    Place {
        /// The slide it shows.
        slide: String = name(),
        /// The microscope it was taken with.
        microscope: String = name(),
        /// Place on the slide, mm.
        x_mm: f64 = number(Span::ANY),
        /// Place on the slide, mm.
        y_mm: f64 = number(Span::ANY),
        /// Running number of the repeat in a study, from 1.
        repeat: u32 = whole(1),
    }
}
