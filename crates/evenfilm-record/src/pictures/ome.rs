//! OME-XML, the text that microscopes' programs put into a TIFF's description (OME data model 2016-06).
//!
//! The text is untrusted: at most so many bytes and nodes are read, and a document type, by which entities could be defined, is refused.

use roxmltree::{Document, Node, ParsingOptions};

use super::FileScale;
use super::damaged;
use crate::fault::Fault;
use crate::time::Stated;

/// Bytes of text that are read at most: the planes of some 50 000 pages.
pub(super) const MOST_BYTES: u64 = 16 << 20;

/// Elements, texts and comments at most.
const MOST_NODES: u32 = 500_000;

/// What such a text says.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Ome {
    /// Width and height of a pixel.
    pub(super) scale: Option<FileScale>,
    /// Seconds, for each plane that states it; `None` for those that do not.
    exposures_s: Vec<Option<f64>>,
    /// Gain of the first channel's detector.
    pub(super) gain: Option<f64>,
    /// When the first image was taken.
    pub(super) taken_at: Option<Stated>,
    /// Bits of a sample that the camera filled.
    pub(super) significant_bits: Option<u32>,
    /// Colours and depths that its planes show, where there is more than one of either.
    pub(super) stack: Option<(u32, u32)>,
}

impl Ome {
    /// Exposure of the page of this number, from 0: its own plane's, or that of all planes where they agree.
    pub(super) fn exposure_s(&self, page: usize, pages: usize) -> Option<f64> {
        let first = *self.exposures_s.first()?;
        if self.exposures_s.iter().all(|exposure| *exposure == first) {
            return first;
        }
        if self.exposures_s.len() == pages { *self.exposures_s.get(page)? } else { None }
    }
}

/// Whether a description is meant as OME-XML.
pub(super) fn is_ome(text: &[u8]) -> bool {
    let start = &text[..text.len().min(4096)];
    start.windows(4).any(|four| four == b"<OME") || start.windows(5).any(|five| five == b":OME ")
}

/// Reads the first image of a text.
///
/// # Errors
/// The text is no well-formed XML, has a document type, or is too large.
pub(super) fn read(text: &[u8]) -> Result<Ome, Fault> {
    let broken = |cause: String| {
        let remedy = "export the picture again, or save it without its description and state um_per_px in the sheet";
        Fault::input(format!("the picture's OME description cannot be read: {cause}"), remedy)
    };
    let text = str::from_utf8(text).map_err(|_| broken("it is not UTF-8".into()))?;
    let options = ParsingOptions { allow_dtd: false, nodes_limit: MOST_NODES, ..ParsingOptions::default() };
    let document = Document::parse_with_options(text, options).map_err(|err| broken(err.to_string()))?;
    let named = |name: &'static str| move |node: &Node<'_, '_>| node.tag_name().name() == name;
    let Some(pixels) = document.descendants().find(named("Pixels")) else { return Ok(Ome::default()) };
    let number = |node: Node<'_, '_>, name: &str| node.attribute(name).and_then(|text| text.trim().parse::<f64>().ok());
    let count = |name: &str| pixels.attribute(name).and_then(|text| text.trim().parse::<u32>().ok());
    let positive = |number: f64| number.is_finite() && number > 0.0;
    let size = |name: &str, unit: &str| {
        Some(number(pixels, name)? * length_um(pixels.attribute(unit).unwrap_or("µm"))?).filter(|um| positive(*um))
    };
    let scale = match (size("PhysicalSizeX", "PhysicalSizeXUnit"), size("PhysicalSizeY", "PhysicalSizeYUnit")) {
        (None, None) => None,
        (x, y) => x.or(y).zip(y.or(x)).map(|(um_per_px_x, um_per_px_y)| FileScale { um_per_px_x, um_per_px_y }),
    };
    if let (Some(stated), None) = (pixels.attribute("PhysicalSizeX"), scale)
        && !matches!(pixels.attribute("PhysicalSizeXUnit"), Some("pixel" | "reference frame"))
    {
        let unit = pixels.attribute("PhysicalSizeXUnit").unwrap_or("µm");
        return Err(damaged(format!("its OME description states a pixel size of {stated} {unit}")));
    }
    let exposure = |plane: Node<'_, '_>| {
        let unit = time_s(plane.attribute("ExposureTimeUnit").unwrap_or("s"))?;
        Some(number(plane, "ExposureTime")? * unit).filter(|seconds| positive(*seconds))
    };
    let (colours, depths) = (count("SizeC").unwrap_or(1), count("SizeZ").unwrap_or(1));
    let samples = pixels.children().find(named("Channel")).and_then(|channel| number(channel, "SamplesPerPixel")).unwrap_or(1.0);
    let stack = (depths > 1 || (colours > 1 && samples < 2.0)).then_some((colours, depths));
    let gain = pixels.descendants().find(named("DetectorSettings")).and_then(|detector| number(detector, "Gain"));
    let taken_at = document.descendants().find(named("AcquisitionDate"));
    Ok(Ome {
        scale,
        exposures_s: pixels.children().filter(named("Plane")).map(exposure).collect(),
        gain: gain.filter(|gain| positive(*gain)),
        taken_at: taken_at.and_then(|node| Stated::of_rfc3339(node.text()?)),
        significant_bits: count("SignificantBits"),
        stack,
    })
}

/// µm of a unit of length; `None` for units that are no length.
fn length_um(unit: &str) -> Option<f64> {
    match unit {
        // The sign for micro comes in two letters that look alike.
        "µm" | "μm" | "um" | "micron" => Some(1.0),
        "nm" => Some(1e-3),
        "pm" => Some(1e-6),
        "Å" => Some(1e-4),
        "mm" => Some(1e3),
        "cm" => Some(1e4),
        "dm" => Some(1e5),
        "m" => Some(1e6),
        "in" => Some(25_400.0),
        "mil" | "thou" => Some(25.4),
        _ => None,
    }
}

/// Seconds of a unit of time.
fn time_s(unit: &str) -> Option<f64> {
    match unit {
        "s" => Some(1.0),
        "ms" => Some(1e-3),
        "µs" | "μs" | "us" => Some(1e-6),
        "ns" => Some(1e-9),
        "min" => Some(60.0),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pixels(attributes: &str, inside: &str) -> String {
        format!(
            r#"<?xml version="1.0" encoding="UTF-8"?><OME xmlns="http://www.openmicroscopy.org/Schemas/OME/2016-06"><Image ID="Image:0"><Pixels ID="Pixels:0" SizeX="6" SizeY="4" {attributes}>{inside}</Pixels></Image></OME>"#
        )
    }

    #[test]
    fn sizes_in_all_units() {
        let cases = [
            (r#"PhysicalSizeX="0.107""#, Some((0.107, 0.107))),
            (r#"PhysicalSizeX="107" PhysicalSizeXUnit="nm" PhysicalSizeY="0.000107" PhysicalSizeYUnit="mm""#, Some((0.107, 0.107))),
            (r#"PhysicalSizeX="0.5" PhysicalSizeXUnit="µm" PhysicalSizeY="0.6" PhysicalSizeYUnit="μm""#, Some((0.5, 0.6))),
            (r#"PhysicalSizeX="1.0" PhysicalSizeXUnit="pixel""#, None),
            (r#"PhysicalSizeX="1.0" PhysicalSizeXUnit="reference frame""#, None),
            ("", None),
        ];
        for (attributes, expected) in cases {
            let found = read(pixels(attributes, "").as_bytes()).unwrap().scale;
            match (found, expected) {
                (None, None) => {}
                (Some(found), Some((x, y))) => {
                    assert!((found.um_per_px_x - x).abs() < 1e-12 && (found.um_per_px_y - y).abs() < 1e-12, "{attributes}: {found:?}");
                }
                other => panic!("{attributes}: {other:?}"),
            }
        }
        for absurd in [r#"PhysicalSizeX="-1""#, r#"PhysicalSizeX="NaN""#, r#"PhysicalSizeX="1" PhysicalSizeXUnit="furlong""#] {
            assert!(read(pixels(absurd, "").as_bytes()).unwrap_err().message.contains("states a pixel size of"), "{absurd}");
        }
    }

    #[test]
    fn exposures_of_planes() {
        let planes = r#"<Channel SamplesPerPixel="1"><DetectorSettings ID="D" Gain="2.5"/></Channel><Plane ExposureTime="20" ExposureTimeUnit="ms"/><Plane ExposureTime="0.04"/>"#;
        let ome = read(pixels(r#"SignificantBits="12" SizeZ="2""#, planes).as_bytes()).unwrap();
        assert_eq!((ome.exposure_s(0, 2), ome.exposure_s(1, 2), ome.exposure_s(0, 3)), (Some(0.02), Some(0.04), None));
        assert_eq!((ome.gain, ome.significant_bits, ome.stack), (Some(2.5), Some(12), Some((1, 2))));
    }

    #[test]
    fn tricks_are_refused() {
        let laughs =
            r#"<!DOCTYPE lolz [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;"><!ENTITY c "&b;&b;&b;&b;&b;&b;">]><OME>&c;</OME>"#;
        let outside = r#"<!DOCTYPE x SYSTEM "file:///etc/passwd"><OME/>"#;
        let undefined = r#"<OME><Pixels PhysicalSizeX="&size;"/></OME>"#;
        let deep = "<OME>".to_owned() + &"<a>".repeat(400_000);
        let many = "<OME>".to_owned() + &"<a/>".repeat(600_000) + "</OME>";
        for text in [laughs, outside, undefined, &deep, &many, "<OME", "<OME>\u{0}</OME>"] {
            let fault = read(text.as_bytes()).unwrap_err();
            assert!(fault.message.contains("OME description cannot be read"), "{fault}");
        }
        assert!(read(b"<OME>\xFF</OME>").is_err());
    }
}
