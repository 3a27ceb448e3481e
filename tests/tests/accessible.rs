//! Every page by an accessibility engine (axe-core, from the npm registry) in a real browser, on a telephone's width and
//! on a desk's, by day and by night; then what the engine does not judge: keys, sizes of what is touched, zoom, motion.
use serde_json::Value;
use std::path::Path;
use std::time::Duration;
use tests::browser::Page;
use tests::daemon::Daemon;
use tests::program::root;
use tests::{http, shelf, wait};

/// Where `tests/run` puts the engine.
const ENGINE: &str = "target/axe/node_modules/axe-core/axe.min.js";
/// Widths of a telephone and of a desk, with heights, CSS pixels.
const SIZES: [(u32, u32); 2] = [(390, 844), (1280, 900)];
/// A desk's window at 200 % zoom, and the narrowest that WCAG 2.2 asks for (1.4.10).
const ZOOMED: [(u32, u32); 2] = [(640, 450), (320, 256)];
/// What touches must hit, CSS pixels.
const TOUCH_PX: f64 = 44.0;
const WITHIN: Duration = Duration::from_secs(90);

/// WCAG 2.0 to 2.2, levels A and AA.
const RUN: &str = "axe.run(document, {runOnly: {type: 'tag', values: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa']}})
    .then(r => r.violations.map(v => v.id + ': ' + v.help + ' ' + v.nodes.slice(0, 3).map(n => n.html.slice(0, 160) + ' '
        + (n.any[0] ? n.any[0].message : '')).join(' | ')))";

fn engine() -> String {
    let path = root().join(ENGINE);
    std::fs::read_to_string(&path).unwrap_or_else(|e| {
        panic!("{}: {e}; tests/run installs it: npm install --prefix target/axe axe-core@4.14.1", path.display())
    })
}

/// A demonstration with a danger, a note, and a source that no nest lists.
fn demo(dir: &Path) -> Daemon {
    let place = dir.join("demo").to_string_lossy().into_owned();
    let args = ["demo", "--speed", "60", "--for", "15m", "--fault", "stuck-on@oak+2m", "--dir", &place];
    let demo = Daemon::start(dir, &args, WITHIN);
    assert_eq!(http::post(demo.page, "/note", "nest=oak&kind=brood&at_mm=60&text=two+heaps").0, 303);
    wait("the danger stands", WITHIN, || demo.alarm("oak", "heater-stuck-on"));
    demo
}

const PAGES: [&str; 12] = [
    "/",
    "/nest/oak",
    "/alarms",
    "/alarm?name=heater-stuck-on@oak",
    "/notes",
    "/nodes",
    "/watch",
    "/start?id=yew&length=200&s0=yew-node:warm&r0=probe&m0=20&mat=yes&from=0&to=60&write=yes",
    "/start?write=yes",
    "/plan?nest=oak",
    "/login",
    "/no-such-page",
];

fn texts(found: &Value) -> Vec<String> {
    found.as_array().unwrap().iter().map(|v| v.as_str().unwrap_or_default().to_owned()).collect()
}

#[test]
fn no_page_shuts_anybody_out() {
    let dir = tempfile::tempdir().unwrap();
    let demo = demo(dir.path());
    let engine = engine();
    let mut page = Page::open(dir.path(), SIZES[0], true);
    let mut found = Vec::new();
    for path in PAGES {
        for size in SIZES {
            page.size(size);
            for scheme in ["light", "dark"] {
                page.prefer("prefers-color-scheme", scheme);
                page.go(&format!("http://{}{path}", demo.page));
                // What folds away is judged too.
                page.eval(&format!("{engine}; document.querySelectorAll('details').forEach(d => d.open = true); 0"));
                let at = format!("{path} at {} px, {scheme}", size.0);
                found.extend(texts(&page.eval(RUN)).into_iter().map(|v| format!("{at}: {v}")));
                let missing = "document.documentElement.lang === 'en' && document.title.length > 2
                    && document.querySelectorAll('h1').length === 1";
                if page.eval(missing) != Value::Bool(true) {
                    found.push(format!("{at}: no language, title or headline"));
                }
            }
            found.extend(sideways(&mut page).into_iter().map(|v| format!("{path} at {} px: {v}", size.0)));
            found.extend(small(&mut page).into_iter().map(|v| format!("{path} at {} px: {v}", size.0)));
        }
        for size in ZOOMED {
            page.size(size);
            found.extend(sideways(&mut page).into_iter().map(|v| format!("{path} at {} px: {v}", size.0)));
        }
    }
    assert!(found.is_empty(), "{} findings:\n{}", found.len(), found.join("\n"));
}

/// What must be pushed sideways, the page or a table in it; columns of numbers in their own region do not count, and on a
/// desk no table.
fn sideways(page: &mut Page) -> Vec<String> {
    let script = "(() => { const w = document.documentElement.clientWidth;
        const pushed = w > 400 ? [] : [...document.querySelectorAll('.scroll:not(.tight), .copy')]
            .filter(e => e.scrollWidth > e.clientWidth + 1).map(e => 'must be pushed: ' + e.innerText.slice(0, 80));
        if (document.documentElement.scrollWidth <= w + 1) return pushed;
        return [...document.querySelectorAll('body *')].filter(e => e.getBoundingClientRect().right > w + 1
            && !e.closest('.scroll, .copy, svg')).slice(0, 4).map(e => 'too wide: ' + e.outerHTML.slice(0, 120))
            .concat(pushed, ['scrolls sideways by ' + (document.documentElement.scrollWidth - w) + ' px']); })()";
    texts(&page.eval(script))
}

/// What acts and is smaller than a fingertip.
fn small(page: &mut Page) -> Vec<String> {
    let script = format!(
        "[...document.querySelectorAll('button, select, input:not([type=hidden]):not([type=range]), textarea, summary, nav a')]
         .filter(e => {{ const r = e.getBoundingClientRect(); return r.height > 0 && r.height < {TOUCH_PX} - 0.5; }})
         .slice(0, 4).map(e => 'too small: ' + e.outerHTML.slice(0, 120) + ' ' + e.getBoundingClientRect().height)"
    );
    texts(&page.eval(&script))
}

#[test]
fn everything_is_reached_by_keys_and_shows_where_one_is() {
    let dir = tempfile::tempdir().unwrap();
    let demo = demo(dir.path());
    let mut page = Page::open(dir.path(), SIZES[1], true);
    for path in ["/alarm?name=heater-stuck-on@oak", "/notes", "/watch", "/start", "/alarms"] {
        page.go(&format!("http://{}{path}", demo.page));
        // By what they are: what follows live may take an element's place with its like while the keys are pressed.
        let wanted = page.eval(
            "window.named = () => { const count = {};
                return [...document.querySelectorAll('a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex]')]
                    .filter(e => e.getClientRects().length > 0 && e.tabIndex >= 0
                        && (e.tagName === 'SUMMARY' || !e.closest('details:not([open])')))
                    .map(e => { const name = [e.tagName, e.getAttribute('href') ?? e.name ?? '', e.innerText].join(' ').slice(0, 100);
                        count[name] = (count[name] ?? 0) + 1; return [e, name + ' ' + count[name]]; }); };
             window.missed = () => named().map(([, name]) => name).filter(name => !seen.has(name));
             window.seen = new Set(); window.bare = []; missed().length",
        );
        let wanted = wanted.as_u64().unwrap();
        assert!(wanted > 8, "{path}: {wanted}");
        let mut missed = Vec::new();
        // Twice round at the most.
        for _ in 0..2 * wanted {
            page.key("Tab", 9);
            missed = texts(&page.eval(
                "{ const e = document.activeElement; seen.add(named().find(([own]) => own === e)?.[1]); const s = getComputedStyle(e);
                   if (e !== document.body && (s.outlineStyle === 'none' || parseFloat(s.outlineWidth) < 2))
                       bare.push(e.outerHTML.slice(0, 100)); } missed()",
            ));
            if missed.is_empty() {
                break;
            }
        }
        assert_eq!(missed, [""; 0], "{path}: not reached");
        assert_eq!(texts(&page.eval("bare")), [""; 0], "{path}: no sign of where one is");
    }
}

#[test]
fn an_alarm_is_read_answered_and_silenced_without_a_script() {
    let dir = tempfile::tempdir().unwrap();
    let demo = demo(dir.path());
    let mut page = Page::open(dir.path(), SIZES[0], false);
    page.go(&format!("http://{}/alarm?name=heater-stuck-on@oak", demo.page));
    let text = page.text();
    for part in ["What raised it", "shelf time. Older than 2 min: do not rely on it.", "Look again.", "What you can do"]
    {
        assert!(text.contains(part), "{part} is missing: {text}");
    }
    page.eval("[...document.querySelectorAll('form.ask')].find(f => f.innerText.includes('Ends the repetition')).querySelector('button').click(); 0");
    page.until("it is answered", "document.body?.innerText.includes('\\nanswered\\n')");
    assert!(page.text().contains("by the page"), "{}", page.text());
    page.eval(
        "{ const f = [...document.querySelectorAll('form.ask')].find(f => f.innerText.includes('The silence ends by itself'));
           f.querySelector('select').value = '15'; f.querySelector('input[name=why]').value = 'I <b>unplugged</b> it';
           f.querySelector('button').click(); } 0",
    );
    page.until("it is silent", "document.body?.innerText.includes('silenced for a time')");
    assert!(page.text().contains("I <b>unplugged</b> it"), "{}", page.text());
    // Two taps for a note: the page, the button.
    page.go(&format!("http://{}/notes", demo.page));
    page.eval("[...document.querySelectorAll('form.ask')][1].querySelector('button[value=fed]').click(); 0");
    page.until("it is written down", "document.body?.innerText.includes('Written down: plaster, fed')");
    assert_eq!(page.complaints(), [""; 0]);
}

#[test]
fn an_empty_shelf_is_filled_by_hand_in_hand() {
    let dir = tempfile::tempdir().unwrap();
    shelf::write(dir.path(), &[shelf::SERVICES]);
    let daemon = Daemon::run(dir.path());
    let mut node = tests::node::Node::new("yew-node", 1);
    node.connect(daemon.broker);
    node.say(&[tests::story::warmth("yew-node", "warm", tests::minute_now_s() - 60.0, 24.5)]);
    let engine = engine();
    let mut page = Page::open(dir.path(), SIZES[0], true);
    page.go(&format!("http://{}/", daemon.page));
    page.until("it leads to the start", "location.pathname === '/start'");
    wait("the source is shown", WITHIN, || {
        page.go(&format!("http://{}/start", daemon.page));
        page.text().contains("yew-node:warm").then_some(())
    });
    page.eval(
        "{ const set = (n, v) => document.querySelector(`[name=${n}]`).value = v;
           set('id', 'yew'); set('length', '200'); set('r0', 'probe'); set('m0', '20'); set('mat', 'yes'); set('from', '0');
           set('to', '60'); set('watts', '5'); document.querySelector('form.ask button').click(); } 0",
    );
    page.until("the lines are there", "document.querySelector('pre.copy') !== null");
    page.eval(&format!("{engine}; 0"));
    assert_eq!(texts(&page.eval(RUN)), [""; 0]);
    let lines = page.eval("document.querySelector('pre.copy').textContent").as_str().unwrap().to_owned();
    assert_eq!(page.complaints(), [""; 0]);
    assert_eq!(daemon.stop(), 0);
    // What was copied is a shelf.
    shelf::write(dir.path(), &[shelf::SERVICES, &lines]);
    let daemon = Daemon::run(dir.path());
    assert_eq!(daemon.now()["nests"][0]["nest"], "yew");
}

#[test]
fn beyond_this_machine_nothing_runs_unguarded_and_the_command_line_still_acts() {
    let dir = tempfile::tempdir().unwrap();
    let open = shelf::SERVICES.replace("listen = \"127.0.0.1:0\"", "listen = \"0.0.0.0:0\"");
    shelf::write(dir.path(), &[shelf::PLAIN, &open]);
    let file = dir.path().join("shelf.toml").to_string_lossy().into_owned();
    for command in ["check", "run"] {
        let ended = tests::program::run([command, "--shelf", &file]);
        assert_eq!(ended.code, 64, "{command}: {ended:?}");
        assert!(ended.err.contains("anyone could act"), "{command}: {ended:?}");
    }
    let user = shelf::user("x", "six legs");
    std::fs::write(dir.path().join("page.password"), user.split_once(':').unwrap().1).unwrap();
    let made = std::process::Command::new("openssl")
        .args(["req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes", "-days", "2"])
        .args(["-subj", "/CN=localhost", "-keyout", "page.key", "-out", "page.crt"])
        .current_dir(dir.path())
        .output()
        .unwrap();
    assert!(made.status.success(), "{made:?}");
    let guarded = "password_file = \"page.password\"\ncert_file = \"page.crt\"\nkey_file = \"page.key\"\n";
    let guarded = open.replace("[history]", &format!("{guarded}[history]"));
    shelf::write(dir.path(), &[shelf::PLAIN, &guarded]);
    let daemon = Daemon::run(dir.path());
    // Where it comes in stands in history once the first batch is on disk.
    wait("the command line comes in", tests::SOON, || {
        let noted = daemon.command(&["note", "add", "--nest", "oak", "--kind", "fed", "honey"]);
        (noted.code == 0).then_some(())
    });
    assert!(daemon.command(&["note", "list"]).out.contains("honey"));
    let listed = daemon.command(&["alarms", "list"]);
    assert_eq!(listed.code, 0, "{listed:?}");
    assert_eq!(daemon.stop(), 0);
}
