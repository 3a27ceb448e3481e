//! The page of now in a real browser, on a telephone's width and on a desk's.
use std::collections::HashSet;
use std::path::Path;
use std::process::{Command, Output, Stdio};
use std::time::Duration;
use tests::browser::BROWSER;
use tests::daemon::Daemon;
use tests::{moment, wait};

/// It may take so long for a page on a busy machine.
const WITHIN: Duration = Duration::from_secs(60);
/// Widths of a telephone and of a desk, with heights, CSS pixels.
const SIZES: [(u32, u32); 2] = [(390, 844), (1280, 900)];
/// A blank page has one colour; text on a ground alone has some dozen shades.
const COLOURS: usize = 60;

/// Opens `address` and does what `args` say.
fn browse(dir: &Path, size: (u32, u32), args: &[&str], address: &str) -> Output {
    let own = |name: &str| dir.join(name).to_string_lossy().into_owned();
    let child = Command::new(BROWSER)
        .args(["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"])
        .args(["--disable-background-networking", "--disable-component-update", "--disable-sync"])
        .args(["--disable-dev-shm-usage", "--hide-scrollbars", "--enable-logging=stderr", "--v=0"])
        .arg(format!("--user-data-dir={}", own("profile")))
        .args(["--timeout=4000", &format!("--window-size={},{}", size.0, size.1)])
        .args(args)
        .arg(address)
        .env("HOME", dir)
        .stdin(Stdio::null())
        .stdout(std::fs::File::create(own("browser.out")).unwrap())
        .stderr(std::fs::File::create(own("browser.err")).unwrap())
        .spawn();
    let mut child = child.unwrap_or_else(|e| panic!("{BROWSER} does not start: {e}; tests/run installs it"));
    let began = moment();
    let status = wait("the browser ends", WITHIN + WITHIN, || {
        if began.elapsed() > WITHIN {
            // By its handle; the wait then ends.
            drop(child.kill());
        }
        child.try_wait().unwrap()
    });
    let read = |name: &str| std::fs::read(own(name)).unwrap();
    let output = Output { status, stdout: read("browser.out"), stderr: read("browser.err") };
    let err = String::from_utf8_lossy(&output.stderr);
    assert!(status.success(), "the browser ended with {status}: {err}");
    let said: Vec<&str> = err.lines().filter(|line| line.contains("CONSOLE")).collect();
    assert!(said.is_empty(), "the page has something to complain of: {said:?}");
    output
}

/// Width of a picture, and how many colours it has.
fn looked_at(path: &Path) -> (u32, usize) {
    let file = std::io::BufReader::new(std::fs::File::open(path).unwrap());
    let mut reader = png::Decoder::new(file).read_info().unwrap();
    let mut pixels = vec![0; reader.output_buffer_size().unwrap()];
    let info = reader.next_frame(&mut pixels).unwrap();
    let colours: HashSet<&[u8]> = pixels.chunks_exact(info.color_type.samples()).collect();
    (info.width, colours.len())
}

#[test]
fn the_pages_show_the_nests_on_any_width_and_complain_of_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let dir = dir.path();
    let place = dir.join("demo").to_string_lossy().into_owned();
    let mut demo =
        Daemon::start(dir, &["demo", "--speed", "60", "--for", "10m", "--dir", &place], Duration::from_secs(60));
    wait("all nests are shown", WITHIN, || {
        demo.now()["nests"].as_array()?.iter().all(|n| !n["t"].is_null()).then_some(())
    });
    let page = format!("http://{}/", demo.page);
    for size in SIZES {
        let picture = dir.join(format!("now-{}.png", size.0));
        browse(dir, size, &[&format!("--screenshot={}", picture.display())], &page);
        let (width, colours) = looked_at(&picture);
        assert_eq!(width, size.0);
        assert!(colours > COLOURS, "{} px: {colours} colours", size.0);
        let dom = browse(dir, size, &["--dump-dom"], &page);
        let dom = String::from_utf8_lossy(&dom.stdout);
        assert!(dom.contains("<h1"), "there is no headline: {dom}");
        for nest in ["oak", "plaster", "pine", "aac"] {
            assert!(dom.contains(&format!("/nest/{nest}")), "{nest} is not on the page: {dom}");
        }
        for hole in ["undefined", "NaN", "{{", "null °C", "[object"] {
            assert!(!dom.contains(hole), "{hole} stands on the page: {dom}");
        }
    }
    for path in ["nest/oak", "alarms"] {
        let dom = browse(dir, SIZES[0], &["--dump-dom"], &format!("{page}{path}"));
        assert!(String::from_utf8_lossy(&dom.stdout).contains("<h1"), "{path} has no headline");
    }
    let plan = browse(dir, SIZES[0], &["--dump-dom"], &format!("{page}plan?nest=oak"));
    let plan = String::from_utf8_lossy(&plan.stdout);
    assert!(plan.contains("Stuck on and covered") && plan.contains("type=\"range\""), "no sliders: {plan}");
    assert!(demo.lives());
    assert_eq!(demo.stop(), 0);
}
