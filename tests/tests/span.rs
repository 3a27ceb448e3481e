//! The page of a span in a real browser: read, pointed at, moved through by keys, turned to other spans.
use std::time::Duration;
use tests::browser::Page;
use tests::daemon::Daemon;
use tests::wait;

const PHONE: (u32, u32) = (390, 844);
const DESK: (u32, u32) = (1280, 900);
/// Making the demonstration's week takes so long on a busy machine.
const MADE_WITHIN: Duration = Duration::from_secs(120);

fn demo(dir: &std::path::Path) -> Daemon {
    let place = dir.join("demo").to_string_lossy().into_owned();
    let demo = Daemon::start(dir, &["demo", "--speed", "1", "--for", "20m", "--dir", &place], MADE_WITHIN);
    wait("all nests are shown", MADE_WITHIN, || {
        demo.now()["nests"].as_array()?.iter().all(|n| !n["t"].is_null()).then_some(())
    });
    demo
}

#[test]
fn a_picture_tells_its_values_to_pointer_finger_and_keys() {
    let dir = tempfile::tempdir().unwrap();
    let demo = demo(dir.path());
    for (size, canvas) in [(PHONE, "narrow"), (DESK, "wide")] {
        let own = dir.path().join(canvas);
        std::fs::create_dir(&own).unwrap();
        let mut page = Page::open(&own, size, true);
        page.go(&format!("http://{}/nest/oak", demo.page));
        page.until("the slider is there", "document.querySelector('input.moment') !== null");
        page.eval(&format!("window.plate = document.querySelector('.span .{canvas}'); plate.scrollIntoView({{block: 'start', behavior: 'instant'}}); 0"));
        assert_eq!(page.eval("plate.getBoundingClientRect().width > 0"), true, "{canvas} is not shown at {size:?}");
        let of =
            |page: &mut Page, what: &str| page.eval(&format!("plate.getBoundingClientRect().{what}")).as_f64().unwrap();
        let (left, top, width) = (of(&mut page, "left"), of(&mut page, "top"), of(&mut page, "width"));
        page.point(left + width * 0.5, top + width * 0.1);
        page.until("the values show", "/°C at \\d+ mm/.test(document.querySelector('output.reading').textContent)");
        page.until("the cursor is drawn", "plate.querySelector('.d-cursor') !== null");
        let pointed = page.eval("document.querySelector('output.reading').textContent");
        page.eval("document.querySelector('input.moment').focus({preventScroll: true}); 0");
        page.key("ArrowLeft", 37);
        page.until("a key moves it", &format!("document.querySelector('output.reading').textContent !== {pointed}"));
        let heard = page.eval("document.querySelector('input.moment').getAttribute('aria-valuetext')");
        assert_eq!(heard, page.eval("document.querySelector('output.reading').textContent"));
        let wide = page.eval("document.documentElement.scrollWidth - window.innerWidth").as_i64().unwrap();
        assert!(wide <= 0, "{wide} px stick out at {size:?}");
        let complaints = page.complaints();
        assert!(complaints.is_empty(), "{complaints:?}");
    }
}

#[test]
fn a_keeper_goes_from_span_to_span_and_the_address_keeps_the_view() {
    let dir = tempfile::tempdir().unwrap();
    let demo = demo(dir.path());
    let mut page = Page::open(dir.path(), DESK, false);
    page.go(&format!("http://{}/nest/oak", demo.page));
    let heading = "document.getElementById('span').innerText";
    let week = page.eval(heading).as_str().unwrap().to_owned();
    let said =
        page.eval("[...document.querySelectorAll('.week > .say')].map(p => p.innerText).length").as_u64().unwrap();
    assert!((1..=3).contains(&said), "{said} sentences");
    let click = |page: &mut Page, words: &str| {
        let link = format!("[...document.querySelectorAll('.turn a')].find(a => a.innerText.includes('{words}')).href");
        let to = page.eval(&link).as_str().unwrap().to_owned();
        page.go(&to);
        page.until("it has come", &format!("location.href === '{to}' && document.readyState === 'complete'"));
        to
    };
    let kept = click(&mut page, "link that keeps this view");
    assert_eq!(page.eval(heading), week.as_str());
    click(&mut page, "day");
    assert_ne!(page.eval(heading), week.as_str());
    assert_eq!(page.eval("document.querySelector('.turn [aria-current]').innerText"), "day");
    click(&mut page, "earlier");
    click(&mut page, "later");
    assert_eq!(page.eval("document.querySelector('.turn [aria-current]').innerText"), "day");
    page.go(&kept);
    click(&mut page, "plaster");
    page.until("both are shown", "document.body.innerText.includes('Plaster in the same time')");
    page.eval("document.querySelectorAll('details.numbers').forEach(d => d.open = true); 0");
    let table = page.eval("document.querySelector('details.numbers table').innerText").as_str().unwrap().to_owned();
    assert!(table.contains("degree-days") && table.contains("all of it"), "{table}");
    click(&mut page, "year");
    assert!(page.text().contains("known for"));
}
