//! The table of the sheet's entries.

use super::{Entry, EntryKind, Span};
use EntryKind::{Choice, Date, File, Flag, Number, Text, Whole};

/// The sections in the order of the form, with what a person reads above each.
pub const SECTIONS: &[(&str, &str)] = &[
    ("", "Lot"),
    ("powder", "Powder"),
    ("mixing", "Mixing"),
    ("sample", "Sample"),
    ("slide", "Slide"),
    ("plan", "Plan"),
    ("microscope", "Microscope"),
];

const ABOVE_0: EntryKind = Number(Span::POSITIVE);
const FROM_0: EntryKind = Number(Span::NOT_NEGATIVE);
const PERCENT: EntryKind = Number(Span::PERCENT);
const TEMPERATURE: EntryKind = Number(Span::from_to(-273.15, 1000.0));

const PURPOSES: &[(&str, &str)] = &[("lot", "Lot"), ("check", "Check slide"), ("study", "Study of the measurement")];
const DEVICES: &[(&str, &str)] = &[
    ("rotor_stator", "Rotor and stator"),
    ("high_pressure", "High-pressure homogeniser"),
    ("bead_mill", "Bead mill"),
    ("three_roll", "Three-roll mill"),
    ("ultrasonic", "Ultrasonic"),
    ("hand", "By hand"),
];
const PLACEMENTS: &[(&str, &str)] = &[("grid", "On a grid"), ("random", "At random"), ("by eye", "Chosen by eye")];
const MODES: &[(&str, &str)] = &[("transmitted", "Transmitted light"), ("darkfield", "Dark field")];
const TONES: &[(&str, &str)] = &[("linear", "Linear"), ("srgb", "sRGB")];

macro_rules! entries {
    ($($section:literal { $($key:literal $label:literal $unit:literal $kind:expr, $help:literal;)+ })+) => {
        /// Every entry, by section, in the order of the documentation.
        pub const ENTRIES: &[Entry] = &[$($(Entry {
            section: $section, key: $key, label: $label, unit: $unit, kind: $kind, help: $help,
            needed: is_lot($section, $key),
        }),+),+];
    };
}

/// Only the lot's name is needed: a scale may also come from the pictures.
const fn is_lot(section: &str, key: &str) -> bool {
    section.is_empty() && matches!(key.as_bytes(), b"lot")
}

entries! {
    "" {
        "lot" "Lot" "" Text, "Name of the lot, as on its label. The record is filed under it.";
        "product" "Product" "" Text, "Name of the product. Kept with the record.";
        "purpose" "Purpose" "" Choice(PURPOSES), "A lot gets a verdict. A check is the retained slide that shows whether the microscope still measures as it did; a study is of the measurement itself.";
        "sampled_on" "Sampled on" "" Date, "Day on which the sample was taken: 2026-03-04.";
        "operator" "Operator" "" Text, "Code of the person who cast and photographed, not a name. Readings of different people can then be compared.";
        "bench" "Bench" "" Text, "Where it was measured.";
        "retained_sample" "Retained sample" "" Text, "Where the retained sample lies, so that it can be measured again.";
    }
    "powder" {
        "grade" "Grade" "" Text, "Grade of the powder, as the supplier calls it.";
        "supplier_lot" "Supplier's lot" "" Text, "The supplier's lot number. It tells a change of powder from a change of mixing.";
        "coating" "Coating" "" Text, "Surface treatment of the powder, or none. It decides how easily the powder wets and disperses.";
        "density_g_cm3" "Density" "g/cm³" Number(Span::up_to(30.0)), "True density of the powder, from its data sheet. Kept with the record.";
        "primary_diameter_um" "Primary particle diameter" "µm" ABOVE_0, "Diameter of a primary particle, from the data sheet. It is often smaller than a light microscope can show.";
    }
    "mixing" {
        "setting" "Setting" "" Text, "The setting in words: 6000 rpm, 10 min. Lots made alike should read alike.";
        "device" "Device" "" Choice(DEVICES), "What the powder was dispersed with.";
        "rotor_diameter_mm" "Rotor diameter" "mm" ABOVE_0, "Outer diameter of the rotor. With the speed it gives the tip speed.";
        "gap_mm" "Gap between rotor and stator" "mm" ABOVE_0, "Width of the gap. With the tip speed it gives the shear rate.";
        "speed_rpm" "Speed" "rpm" FROM_0, "Revolutions per minute, as read during mixing.";
        "time_min" "Time" "min" FROM_0, "How long it was mixed at this setting.";
        "passes" "Passes" "" Whole(0), "How often the lot went through the device.";
        "temperature_c" "Temperature" "°C" TEMPERATURE, "Temperature of the lot during mixing. It changes the viscosity and with it the shear.";
        "batch_mass_kg" "Batch mass" "kg" ABOVE_0, "Mass that was mixed. Energy is compared per mass.";
        "batch_volume_l" "Batch volume" "l" ABOVE_0, "Volume that was mixed.";
        "power_w" "Net power" "W" FROM_0, "Power drawn during mixing less the power when idling.";
        "power_number" "Power number" "" ABOVE_0, "Dimensionless power of the mixing head, from its maker.";
        "pumping_number" "Pumping number" "" ABOVE_0, "Dimensionless flow of the mixing head, from its maker.";
        "viscosity_pa_s" "Viscosity while mixing" "Pa·s" ABOVE_0, "Viscosity at the temperature and shear of mixing. 1 Pa·s is 1000 mPa·s (cP).";
        "density_kg_m3" "Density of the lot" "kg/m³" Number(Span::up_to(30_000.0)), "Density of what was mixed, powder included.";
        "pressure_bar" "Pressure" "bar" FROM_0, "Pressure of a high-pressure homogeniser.";
        "bead_mm" "Bead diameter" "mm" ABOVE_0, "Diameter of the beads of a bead mill.";
        "nip_um" "Nip between rolls" "µm" ABOVE_0, "Distance between the rolls of a three-roll mill, the narrowest one.";
    }
    "sample" {
        "age_days" "Age" "days" FROM_0, "Days from mixing to casting. Shelf life is judged by it.";
        "stored_at_c" "Stored at" "°C" TEMPERATURE, "Temperature of storage.";
        "sampled_from" "Sampled from" "" Text, "Where in the container: top, middle, bottom. Powder that settles makes them differ.";
        "reshaken" "Shaken again" "" Flag, "Whether it was shaken or stirred again before sampling.";
        "container_height_mm" "Height of the fill" "mm" ABOVE_0, "Height of the product in its container, through which powder may settle.";
        "carrier_viscosity_pa_s" "Viscosity of the carrier" "Pa·s" ABOVE_0, "Viscosity of the product without powder, at rest. It decides how fast powder settles.";
    }
    "slide" {
        "substrate" "Substrate" "" Text, "What the film was cast on: glass, quartz, a moulded plate.";
        "applicator_gap_um" "Applicator gap" "µm" ABOVE_0, "Gap of the applicator. Kept with the record and never taken for a thickness.";
        "wet_thickness_um" "Wet film thickness" "µm" ABOVE_0, "Thickness of the wet film as measured, by mass or with a gauge.";
        "wet_thickness_um_u" "Its standard uncertainty" "µm" FROM_0, "Standard uncertainty of the wet film thickness: half of an expanded one with k = 2.";
        "powder_pct_w_w" "Powder in what was cast" "% w/w" PERCENT, "Dry powder by mass in what was cast, after any dilution.";
        "nonvolatile_pct" "Non-volatile matter" "%" PERCENT, "What stays of the wet film when it has dried, by mass.";
        "carrier_density_g_cm3" "Density of the carrier" "g/cm³" Number(Span::up_to(30.0)), "Density of the product without powder.";
        "diluent" "Diluent" "" Text, "What it was thinned with before casting, or none.";
        "dried" "Drying" "" Text, "How the film was dried: 24 h, 23 °C, 50 % RH. Drying makes cracks and rims.";
    }
    "plan" {
        "slides" "Slides" "" Whole(1), "How many slides, fixed before photographing. Without a plan that was kept a verdict is provisional.";
        "fields" "Fields" "" Whole(1), "How many fields in all, fixed before photographing.";
        "placement" "Placement of fields" "" Choice(PLACEMENTS), "How the fields are placed. Fields chosen by eye are no sample, so a verdict from them is provisional.";
        "edge_margin_mm" "Margin to the film's edge" "mm" FROM_0, "How far fields keep from the edge of the film, where it is thicker or thinner.";
        "extension_slides" "Slides of an extension" "" Whole(0), "Slides that may be added once, where the first look decides nothing.";
        "extension_fields" "Fields of an extension" "" Whole(1), "Fields that may be added once, where the first look decides nothing.";
    }
    "microscope" {
        "mode" "Lighting" "" Choice(MODES), "Light through the film, or scattered light on a dark ground.";
        "um_per_px" "Scale" "µm per pixel" Number(Span::up_to(1000.0)), "Width of a pixel in the film, measured on a ruling. Every length rests on it; leave it empty only where the pictures state it.";
        "um_per_px_u" "Standard uncertainty of the scale" "µm per pixel" FROM_0, "Standard uncertainty of the scale, as the ruling gave it. Without it the intervals leave it out.";
        "scale_source" "Scale measured with" "" Text, "The ruling and its certificate. It makes the scale traceable.";
        "scale_date" "Scale measured on" "" Date, "Day of that: 2026-02-01. A verdict is provisional where it is longer ago than the recipe allows.";
        "numerical_aperture" "Numerical aperture" "" Number(Span::up_to(1.7)), "Of the objective, as engraved on it. It says which sizes can be told at all and how sharp edges can be.";
        "condenser_na" "Condenser aperture" "" Number(Span::up_to(1.7)), "Numerical aperture to which the condenser was set. Kept with the record.";
        "wavelength_nm" "Wavelength" "nm" Number(Span::from_to(100.0, 3000.0)), "Mean wavelength of the light, about 550 nm for white light. With the aperture it gives the smallest size counted.";
        "tone" "Tone of the counts" "" Choice(TONES), "Linear where counts are proportional to light, sRGB where they are coded for a display. Pictures of 8 bits must say.";
        "full_scale" "Full scale" "counts" ABOVE_0, "The count at which the camera saturates, where it is not the largest: 4095 for 12 bits. Of float pictures the value of full light.";
        "check" "Check slide" "" Text, "Lot name of the retained slide that shows whether this microscope still measures as it did. Without it a verdict is provisional.";
        "blank" "Blank" "" File, "Picture of the lit empty slide, at the same exposure. It takes out uneven light and shows how dark the film itself is.";
        "dark" "Dark" "" File, "Picture with the shutter closed, at the same exposure.";
    }
}
