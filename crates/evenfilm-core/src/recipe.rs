//! Every choice that changes a number. A record stores all of them, never "default".

/// The recipe: what is looked for and how. [`Recipe::default`] holds the built-in values.
#[derive(Clone, Debug, PartialEq)]
pub struct Recipe {
    /// Name of the recipe; "film".
    pub name: String,
    /// Version that the lab gave it; "1".
    pub version: String,
    /// Who made it; empty where nobody is named.
    pub author: String,
    /// Whether the choices are locked, so that a verdict may rest on them; false.
    pub locked: bool,
    /// Where the light comes from.
    pub light: Light,
    /// What a particle is.
    pub particles: Particles,
    /// What is bare.
    pub gaps: Gaps,
    /// How objects are taken apart and weighted.
    pub objects: Objects,
    /// Kinds that do not count.
    pub leave_out: Vec<Kind>,
    /// What a clump is.
    pub agglomerates: Agglomerates,
    /// What rejects a field.
    pub fields: Fields,
    /// The chance film.
    pub chance: Chance,
    /// The events of concern for rare-event intervals.
    pub concern: Concern,
}

/// An enum whose variants are words of a file: `ALL`, `word` and `from_word` come with it.
#[macro_export]
macro_rules! choices {
    ($(#[$doc:meta])* $name:ident { $($(#[$vdoc:meta])* $variant:ident = $text:literal),+ $(,)? }) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
        pub enum $name { $($(#[$vdoc])* $variant),+ }
        impl $name {
            /// Every choice, in the order of the documentation.
            pub const ALL: &'static [Self] = &[$(Self::$variant),+];
            /// The word that files use.
            pub const fn word(self) -> &'static str { match self { $(Self::$variant => $text),+ } }
            /// The choice that a word stands for.
            pub fn from_word(word: &str) -> Option<Self> { Self::ALL.iter().copied().find(|c| c.word() == word) }
        }
    };
}

choices! {
    /// Which plane of a colour picture is measured.
    Channel {
        /// Weighted sum of the linear primaries (Rec. ITU-R BT.709).
        Luminance = "luminance",
        /// The red plane.
        Red = "red",
        /// The green plane.
        Green = "green",
        /// The blue plane.
        Blue = "blue",
    }
}
choices! {
    /// What the light is corrected with.
    LightFrom {
        /// The picture of the empty slide.
        Blank = "blank",
        /// The picture's own light.
        Picture = "picture",
    }
}
choices! {
    /// Whether the film itself darkens the picture.
    Film {
        /// Told from the picture where a blank is given.
        Auto = "auto",
        /// The film is seen as an even haze.
        Hazy = "hazy",
        /// Only particles are seen.
        Clear = "clear",
    }
}
choices! {
    /// How the level is found below which a pixel may belong to a particle.
    Detect {
        /// The method that suits the picture.
        Auto = "auto",
        /// A multiple of the film's own noise below the film.
        Noise = "noise",
        /// Otsu 1979, two classes.
        Otsu = "otsu",
        /// Liao, Chen & Chung 2001, three classes.
        OtsuTwoLevel = "otsu_two_level",
        /// Kapur, Sahoo & Wong 1985.
        EntropyMax = "entropy_max",
        /// Li & Lee 1993.
        CrossEntropyMin = "cross_entropy_min",
        /// Zack, Rogers & Latt 1977.
        Triangle = "triangle",
        /// A stated share of the film's level.
        Fixed = "fixed",
    }
}
choices! {
    /// Whose core level small objects are sized with.
    Contrast {
        /// All powder darkens alike: the field's shared core.
        Constant = "constant",
        /// Each object by its own peak.
        Own = "own",
    }
}
choices! {
    /// Which holes in a particle belong to it.
    FillHoles {
        /// Those darker than half way between film and core.
        Dark = "dark",
        /// None.
        Never = "never",
    }
}
choices! {
    /// How objects cut by the frame are made up for.
    FrameRule {
        /// Whole objects, weighted by how seldom one of their size is whole.
        Weighted = "weighted",
        /// Every object as it is seen.
        All = "all",
    }
}
choices! {
    /// What an object is.
    Kind {
        /// Powder.
        Powder = "powder",
        /// Bubble or droplet.
        Hollow = "hollow",
        /// Fibre.
        Fibre = "fibre",
        /// Needle or plate.
        Crystal = "crystal",
        /// Dirt at one place in all fields.
        Dust = "dust",
        /// Not told apart.
        Unsure = "unsure",
    }
}
choices! {
    /// What a gap is.
    GapKind {
        /// A pinhole.
        Round = "round",
        /// A crack.
        Crack = "crack",
        /// The film drew back.
        Dewetting = "dewetting",
        /// A streak of the applicator.
        Streak = "streak",
        /// Not told apart.
        Unsure = "unsure",
    }
}
choices! {
    /// What makes an object an agglomerate.
    AgglomerateRule {
        /// Its diameter.
        Size = "size",
        /// The number of its constituents.
        Constituents = "constituents",
        /// One of the two.
        Either = "either",
    }
}
choices! {
    /// Why a field may be rejected.
    Reject {
        /// It overlaps or repeats another field.
        Overlap = "overlap",
    }
}

/// `[light]`
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Light {
    /// Default luminance.
    pub channel: Channel,
    /// Default blank; `None` takes the blank where the sheet names one, else the picture.
    pub from: Option<LightFrom>,
    /// Default auto.
    pub film: Film,
}

/// `[particles]`
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Particles {
    /// Default auto.
    pub detect: Detect,
    /// Multiple of the film's noise, above 0; default 6.
    pub noise_factor: f64,
    /// Relative to the film, above 0 and below 1; default 0.5.
    pub fixed_level: f64,
    /// Where between surround (0) and core (1) the edge lies, above 0 and below 1; default 0.5.
    pub edge: f64,
    /// Smallest counted diameter in µm; `None` is auto.
    pub min_diameter_um: Option<f64>,
    /// Default constant.
    pub contrast: Contrast,
    /// Default dark.
    pub fill_holes: FillHoles,
}

/// `[gaps]`
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gaps {
    /// Where between film (0) and bare (1) the edge lies, above 0 and below 1; default 0.5.
    pub edge: f64,
    /// Smallest counted diameter in µm; default 2.
    pub min_diameter_um: f64,
}

/// `[objects]`
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Objects {
    /// Whether objects are split at necks; default true.
    pub split: bool,
    /// How deep a neck must be, µm; default 0.15.
    pub split_depth_um: f64,
    /// Default weighted.
    pub frame: FrameRule,
    /// Standard uncertainty of the object model, relative diameter in %; default 0.
    pub model_u_pct: f64,
}

/// `[agglomerates]`
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Agglomerates {
    /// Default size.
    pub rule: AgglomerateRule,
    /// µm; default 5.
    pub min_diameter_um: f64,
    /// Default 4.
    pub min_constituents: u32,
}

/// `[fields]`
#[derive(Clone, Debug, PartialEq)]
pub struct Fields {
    /// Default overlap.
    pub reject: Vec<Reject>,
    /// Days; default 365.
    pub scale_max_age_days: u32,
    /// Days; default 7.
    pub check_max_age_days: u32,
}

/// `[chance]`
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Chance {
    /// Number of layings; default 200.
    pub placements: u32,
    /// Default 1.
    pub seed: u64,
}

/// `[concern]`
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Concern {
    /// µm; default 25.
    pub gap_um: f64,
    /// µm; default 25.
    pub agglomerate_um: f64,
}

impl Default for Recipe {
    fn default() -> Self {
        Self {
            name: "film".into(),
            version: "1".into(),
            author: String::new(),
            locked: false,
            light: Light { channel: Channel::Luminance, from: None, film: Film::Auto },
            particles: Particles {
                detect: Detect::Auto,
                noise_factor: 6.0,
                fixed_level: 0.5,
                edge: 0.5,
                min_diameter_um: None,
                contrast: Contrast::Constant,
                fill_holes: FillHoles::Dark,
            },
            gaps: Gaps { edge: 0.5, min_diameter_um: 2.0 },
            objects: Objects { split: true, split_depth_um: 0.15, frame: FrameRule::Weighted, model_u_pct: 0.0 },
            leave_out: vec![Kind::Hollow, Kind::Fibre, Kind::Crystal, Kind::Dust],
            agglomerates: Agglomerates { rule: AgglomerateRule::Size, min_diameter_um: 5.0, min_constituents: 4 },
            fields: Fields { reject: vec![Reject::Overlap], scale_max_age_days: 365, check_max_age_days: 7 },
            chance: Chance { placements: 200, seed: 1 },
            concern: Concern { gap_um: 25.0, agglomerate_um: 25.0 },
        }
    }
}
