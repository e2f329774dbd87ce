use evenfilm_core::*;
use plane::*;
use std::sync::atomic::AtomicBool;
fn load(p: &std::path::Path) -> (Plane<u16>, u16) {
    let mut d = tiff::decoder::Decoder::new(std::io::BufReader::new(std::fs::File::open(p).unwrap())).unwrap();
    let (w, h) = d.dimensions().unwrap();
    match d.read_image().unwrap() {
        tiff::decoder::DecodingResult::U16(v) => (Plane::from_shape_vec((h as usize, w as usize), v).unwrap(), 65535),
        tiff::decoder::DecodingResult::U8(v) => {
            (Plane::from_shape_vec((h as usize, w as usize), v.into_iter().map(|x| x as u16 * 257).collect()).unwrap(), 65535)
        }
        _ => panic!(),
    }
}
fn main() {
    let dir = std::path::PathBuf::from(std::env::args().nth(1).unwrap());
    let sheet = std::fs::read_to_string(dir.join("batch.toml")).unwrap();
    let num = |k: &str| {
        sheet.lines().find_map(|l| {
            l.trim()
                .strip_prefix(k)
                .and_then(|r| r.trim().strip_prefix('='))
                .map(|v| v.split('#').next().unwrap().trim().parse::<f64>().unwrap())
        })
    };
    let cancel = AtomicBool::new(false);
    let watch = Watch { cancel: &cancel, tell: &|_, _| () };
    let (b, fs) = load(&dir.join("blank.tif"));
    let optics = light::Optics {
        um_per_px: num("um_per_px").unwrap(),
        numerical_aperture: num("numerical_aperture"),
        wavelength_nm: num("wavelength_nm"),
        full_scale: fs,
    };
    let rec = recipe::Recipe::default();
    let lamp = light::Lamp::new(Some(&b), None, watch).unwrap();
    let mut names: Vec<_> = std::fs::read_dir(&dir)
        .unwrap()
        .map(|e| e.unwrap().path())
        .filter(|p| p.file_name().unwrap().to_str().unwrap().starts_with('f') && p.extension().is_some_and(|e| e == "tif"))
        .collect();
    names.sort();
    let mut rs = vec![];
    let reps = std::env::var("REPS").map_or(1, |r| r.parse().unwrap());
    for n in &names {
        let (f, _) = load(n);
        let mut best = (f64::MAX, 0.0);
        for r in 0..reps {
            let t = std::time::Instant::now();
            let l2;
            let lp = if r == 0 {
                &lamp
            } else {
                l2 = light::Lamp::new(Some(&b), None, watch).unwrap();
                &l2
            };
            let (s, c) = field::survey(&f, lp, &optics, &rec, watch).unwrap();
            let t1 = t.elapsed().as_secs_f64();
            let res = field::measure(&f, &s, &c, None, &optics, &rec, watch).unwrap();
            if t.elapsed().as_secs_f64() < best.0 {
                best = (t.elapsed().as_secs_f64(), t1);
            }
            if r == 0 {
                eprintln!(
                    "{} film {:?} cal {:?} objs {} gaps {} flags {:?}",
                    n.display(),
                    s.film,
                    res.calibration,
                    res.objects.len(),
                    res.gaps.len(),
                    res.flags.iter().map(|f| f.id).collect::<Vec<_>>()
                );
                rs.push(res);
            }
        }
        eprintln!("best {:.1} ms survey {:.1}", best.0 * 1e3, best.1 * 1e3);
    }
    if std::env::var("OBJ").is_ok() {
        let u = optics.um_per_px;
        for (i, r) in rs.iter().enumerate() {
            for o in &r.objects {
                println!(
                    "o {i} {:.3} {:.3} {:.4} {} {} {:?} {} {}",
                    o.centroid_px[0] * u,
                    o.centroid_px[1] * u,
                    o.diameter_px() * u,
                    o.sized_by.word(),
                    o.touches_frame,
                    o.core_from,
                    o.surround,
                    o.core
                );
            }
            for g in &r.gaps {
                println!(
                    "g {i} {:.3} {:.3} {:.4} {:.4} {}",
                    g.centroid_px[0] * u,
                    g.centroid_px[1] * u,
                    g.diameter_px() * u,
                    g.largest_circle_px * u,
                    g.touches_frame
                );
            }
        }
    }
    let slides = vec!["A".to_string(); rs.len()];
    let l = batch::lot(&rs, &slides, 0, &rec.leave_out);
    for (q, (v, c)) in quantity::QUANTITIES.iter().zip(l.values.iter().zip(&l.ci95)) {
        eprintln!("{:22} {:?} ±{:?}", q.id, v, c);
    }
}
