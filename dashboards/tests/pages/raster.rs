//! Pictures as PNG: their size, their letters, what they may read; and golden ones, to be seen when they change.
use crate::sample::{nest, week};
use dashboards::*;

struct Picture {
    width: u32,
    height: u32,
    colours: usize,
}

fn decode(bytes: &[u8]) -> Picture {
    let mut reader = png::Decoder::new(std::io::Cursor::new(bytes)).read_info().expect("a PNG");
    let mut pixels = vec![0; reader.output_buffer_size().expect("a size")];
    let info = reader.next_frame(&mut pixels).expect("pixels");
    let mut colours: Vec<&[u8]> = pixels.chunks_exact(4).collect();
    colours.sort_unstable();
    colours.dedup();
    Picture { width: info.width, height: info.height, colours: colours.len() }
}

#[test]
fn png_has_the_size_asked_for_and_shows_something() {
    let full = decode(&svg_to_png(&heatmap_svg(&week()), 1.5).unwrap());
    assert_eq!(full.width, 1380);
    assert!(full.height > 600 && full.colours > 200, "{} px high, {} colours", full.height, full.colours);
    // The cells themselves must be there, not only the frame: without them hardly a colour is left.
    let none = decode(&svg_to_png(&heatmap_svg(&WeekView { map: HeatMap::default(), ..week() }), 1.5).unwrap());
    assert!(full.colours > none.colours + 5, "{} against {}", full.colours, none.colours);
}

#[test]
fn letters_are_drawn_with_our_font() {
    let page = |letter: char| {
        let svg = format!(
            r#"<svg xmlns="http://www.w3.org/2000/svg" width="60" height="40"><text x="5" y="30" font-size="30" font-family="sans-serif">{letter}</text></svg>"#
        );
        svg_to_png(&svg, 1.0).unwrap()
    };
    let blank = page(' ');
    let missing = page('\u{4e00}');
    let letters = "a°′±–−≤≥·…Δσ→ü".chars().chain(letters_of_the_tables());
    for letter in letters.collect::<std::collections::BTreeSet<_>>() {
        assert!(page(letter) != blank && page(letter) != missing, "{letter} is not in the font");
    }
}

/// Whatever any language's strings need beyond ASCII: pictures say them too.
fn letters_of_the_tables() -> impl Iterator<Item = char> {
    let words = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("words");
    let files =
        |dir: &std::path::Path| std::fs::read_dir(dir).expect("a folder").map(|entry| entry.expect("an entry").path());
    let texts = files(&words).collect::<Vec<_>>().into_iter().flat_map(move |language| files(&language));
    let lines = texts.flat_map(|file| {
        let text = std::fs::read_to_string(file).expect("a table");
        text.lines().filter(|line| !line.starts_with('#')).map(str::to_owned).collect::<Vec<_>>()
    });
    lines.flat_map(|line| line.chars().filter(|c| !c.is_ascii()).collect::<Vec<_>>())
}

#[test]
fn senseless_sizes_are_refused_with_a_reason() {
    let svg = heatmap_svg(&week());
    for scale in [0.0, -1.0, 1e6, f32::NAN, f32::INFINITY] {
        let told = svg_to_png(&svg, scale).unwrap_err();
        assert!(matches!(told, RasterError::Size { .. }), "{scale}: {told}");
    }
    assert!(matches!(svg_to_png("<svg", 1.0), Err(RasterError::Svg { .. })));
}

#[test]
fn a_picture_reads_no_files_of_its_machine() {
    let dir = std::env::temp_dir().join(format!("dashboards-href-{}", std::process::id()));
    std::fs::create_dir_all(&dir).unwrap();
    let file = dir.join("secret.png");
    std::fs::write(&file, svg_to_png(&heatmap_svg(&week()), 0.2).unwrap()).unwrap();
    let svg = format!(
        r#"<svg xmlns="http://www.w3.org/2000/svg" width="60" height="40"><image width="60" height="40" href="{}"/></svg>"#,
        file.display()
    );
    let seen = decode(&svg_to_png(&svg, 1.0).unwrap()).colours;
    std::fs::remove_dir_all(&dir).unwrap();
    assert_eq!(seen, 1);
}

/// What a channel may differ by before a pixel counts as changed: letters are drawn a little differently by another
/// version of the rasteriser.
const CHANNEL: i16 = 24;
/// Part of the pixels that may have changed.
const CHANGED: f64 = 0.002;

/// Holds a picture against the one that is kept. With `WARMEND_GOLDEN=1` it is kept anew: look at what changed.
fn golden(name: &str, svg: &str) {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/golden").join(format!("{name}.png"));
    let drawn = svg_to_png(svg, 1.0).expect("a picture");
    if std::env::var_os("WARMEND_GOLDEN").is_some() {
        std::fs::write(&path, &drawn).expect("tests/golden is there");
    }
    let kept = std::fs::read(&path).expect("tests/golden holds it; WARMEND_GOLDEN=1 makes it");
    let (new, (wide, high)) = pixels(&drawn);
    let (old, size) = pixels(&kept);
    assert_eq!((wide, high), size, "{name}: another size");
    let differs =
        |(a, b): (&[u8], &[u8])| a.iter().zip(b).any(|(a, b)| (i16::from(*a) - i16::from(*b)).abs() > CHANNEL);
    let changed = new.chunks_exact(4).zip(old.chunks_exact(4)).filter(|pair| differs(*pair)).count();
    let part = changed as f64 / f64::from(wide * high);
    let beside = std::env::temp_dir().join(format!("{name}-new.png"));
    if part > CHANGED {
        std::fs::write(&beside, &drawn).expect("a place for it");
    }
    assert!(part <= CHANGED, "{name}: {:.2} % of it changed; the new one is {}", 100.0 * part, beside.display());
}

fn pixels(bytes: &[u8]) -> (Vec<u8>, (u32, u32)) {
    let mut reader = png::Decoder::new(std::io::Cursor::new(bytes)).read_info().expect("a PNG");
    let mut pixels = vec![0; reader.output_buffer_size().expect("a size")];
    let info = reader.next_frame(&mut pixels).expect("pixels");
    (pixels, (info.width, info.height))
}

#[test]
fn pictures_look_as_they_did() {
    let full = NestView { rh_pct: (0..41).map(|i| Some(45.0 + f64::from(i))).collect(), ..nest() };
    for (canvas, size) in [(Canvas::Wide, "wide"), (Canvas::Narrow, "narrow")] {
        golden(&format!("nest-{size}"), &profile_svg_on(&full, canvas));
        golden(&format!("ahead-{size}"), &ahead_svg_on(&full, &crate::sample::ahead(), canvas));
        golden(&format!("week-{size}"), &heatmap_svg_on(&busy_week(), canvas));
    }
}

/// A week with everything on it: alarms close together, a gap, what is hardly known, what was not believed.
fn busy_week() -> WeekView {
    let mark = |at: f64, tone| Mark { at, until: Some(at + 0.02), kind: MarkKind::Alarm(tone), ..Mark::default() };
    let mut busy = week();
    busy.marks.extend((0..20).map(|i| mark(0.1 + f64::from(i) * 0.006, Tone::Warning)));
    busy.marks.push(mark(0.8, Tone::Danger));
    busy.map.sd_k = (0..70).map(|i| Some(vec![if i > 50 { 1.6 } else { 0.3 }; 11])).collect();
    busy.nights = vec![(0.1, 0.15), (0.5, 0.55)];
    let lane = &mut busy.lanes[0];
    lane.zone = Some((26.5, 27.6));
    lane.sd = vec![Some(0.2); 70];
    lane.other = (0..70).map(|i| Some(27.5 - f64::from(i) / 70.0)).collect();
    lane.doubted = vec![(0.3, 27.2), (0.9, 60.0)];
    busy
}

/// Twenty marks within an eighth of the span share few numbers, and none is lost.
#[test]
fn marks_close_together_share_a_number() {
    let svg = heatmap_svg_on(&busy_week(), Canvas::Narrow);
    assert!(svg.contains(">2\u{2013}21<"), "the alarms are numbers 2 to 21");
    assert!(svg.contains(">22<") && !svg.contains(">7<"));
}
