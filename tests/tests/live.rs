//! Pages that follow while things happen: as a person sees it who reads, who is reading farther down, who listens.
use std::path::Path;
use tests::browser::Page;
use tests::daemon::Daemon;
use tests::node::Node;
use tests::story::warmth;
use tests::{SOON, minute_now_s, shelf, wait};

const PHONE: (u32, u32) = (390, 844);

/// A daemon with one nest, a node that has told of it, and the hour up to which it has.
fn told(dir: &Path) -> (Daemon, Node, f64) {
    shelf::write(dir, &[shelf::PLAIN, shelf::SERVICES]);
    let daemon = Daemon::run(dir);
    let mut node = Node::new("oak-node", 1);
    node.connect(daemon.broker);
    let now_s = minute_now_s();
    for k in (0..6).rev() {
        say(&mut node, now_s - 300.0 - 60.0 * f64::from(k), 27.0);
    }
    wait("the nest is heard", SOON, || daemon.now()["nests"][0]["t"].is_f64().then_some(()));
    (daemon, node, now_s - 300.0)
}

fn say(node: &mut Node, t: f64, c: f64) {
    node.say(&[warmth("oak-node", "warm", t, c), warmth("oak-node", "cool", t, 21.0)]);
    node.answered(0);
}

/// Three hot readings in a row: a danger by the raw guard.
fn heat(node: &mut Node, from_s: f64) {
    for k in 1..=4 {
        say(node, from_s + 30.0 * f64::from(k), 44.0);
    }
}

#[test]
fn a_new_danger_shows_and_is_said_once_and_nobody_loses_their_place() {
    let dir = tempfile::tempdir().unwrap();
    let (daemon, mut node, at) = told(dir.path());
    let mut page = Page::open(dir.path(), PHONE, true);
    page.go(&format!("http://{}/", daemon.page));
    page.until("the age is told", "document.getElementById('age').textContent.startsWith('Newest reading')");
    // Whoever reads the numbers has them open, the focus on their name, and has scrolled to them.
    page.eval(
        "const d = document.querySelector('.nest details'); d.open = true; const s = d.querySelector('summary');
         s.focus(); s.scrollIntoView({block: 'start', behavior: 'instant'}); window.said = [];
         new MutationObserver(() => said.push(document.getElementById('spoken').textContent))
           .observe(document.getElementById('spoken'), {childList: true, characterData: true, subtree: true});
         window.mine = s; window.top0 = s.getBoundingClientRect().top; 0",
    );
    let clock = page.eval("document.getElementById('clock').textContent");
    say(&mut node, at + 60.0, 27.1);
    page.until(
        "a reading shows",
        &format!("document.querySelector('.nest').innerText.includes('27.1') && {clock} !== ''"),
    );
    assert_eq!(page.eval("said.length"), 0, "a reading is not announced");
    heat(&mut node, at + 60.0);
    page.until("the danger shows", "document.querySelector('h1').innerText.startsWith('Danger in oak')");
    page.until("it is said", "said.length > 0");
    assert_eq!(page.eval("document.activeElement === mine && mine.isConnected"), true, "the focus went away");
    assert_eq!(page.eval("mine.closest('details').open"), true);
    let moved = page.eval("Math.abs(mine.getBoundingClientRect().top - top0)").as_f64().unwrap();
    assert!(moved < 3.0, "what was read moved by {moved} px");
    say(&mut node, at + 240.0, 44.1);
    page.until("one more reading shows", "document.querySelector('.nest').innerText.includes('44.1')");
    let said = page.eval("said.join('|')").as_str().unwrap().to_owned();
    assert_eq!(
        said.matches("nobody has answered yet").count(),
        page.eval("document.querySelectorAll('.alarms > .alarm').length").as_u64().unwrap() as usize,
        "each alarm once: {said}"
    );
    assert!(page.eval("document.title").as_str().unwrap().starts_with("Danger in oak"));
    // Answered by touch, it stays on the page and says so.
    page.eval("document.querySelector('.alarms button').scrollIntoView(); 0");
    let tall = page.eval("document.querySelector('.alarms button').getBoundingClientRect().height").as_f64().unwrap();
    assert!(tall >= 44.0, "a button of {tall} px");
    page.eval("document.querySelector('.alarms button').click(); 0");
    page.until("it is answered", "document.querySelector('.alarms')?.innerText.includes('; answered') === true");
    let complaints = page.complaints();
    assert!(complaints.is_empty(), "{complaints:?}");
}

/// What else follows, and what shows there that a reading came.
const FOLLOWING: [(&str, &str); 4] = [
    ("/nest/oak", "document.querySelector('.nest').innerText.includes('TOLD')"),
    ("/nodes", "[...document.querySelectorAll('td')].some(cell => cell.innerText.includes('TOLD'))"),
    ("/watch", "document.getElementById('inner').dataset.asof !== window.asof0"),
    ("/alarms", "document.getElementById('inner').dataset.asof !== window.asof0"),
];

#[test]
fn every_page_about_now_follows_and_says_a_danger_once() {
    let dir = tempfile::tempdir().unwrap();
    let (daemon, mut node, mut at) = told(dir.path());
    let mut pages: Vec<Page> = FOLLOWING
        .iter()
        .map(|(path, _)| {
            let own = dir.path().join(&path[1..]);
            std::fs::create_dir_all(&own).unwrap();
            let mut page = Page::open(&own, PHONE, true);
            page.go(&format!("http://{}{path}", daemon.page));
            page.until("the age is told", "document.getElementById('age').textContent.startsWith('Newest reading')");
            page.eval(
                "window.said = []; window.asof0 = document.getElementById('inner').dataset.asof;
                 new MutationObserver(() => said.push(document.getElementById('spoken').textContent))
                   .observe(document.getElementById('spoken'), {childList: true, characterData: true, subtree: true});
                 const held = document.querySelector('#inner a, #inner summary, .top a'); held.focus(); window.mine = held; 0",
            );
            page
        })
        .collect();
    at += 60.0;
    say(&mut node, at, 27.4);
    for (page, (path, shows)) in pages.iter_mut().zip(FOLLOWING) {
        page.until(&format!("a reading shows at {path}"), &shows.replace("TOLD", "27.4"));
        assert_eq!(page.eval("said.length"), 0, "{path}: a reading is not announced");
    }
    heat(&mut node, at);
    wait("the danger stands", SOON, || daemon.alarm("oak", "probe-hot"));
    for (page, (path, _)) in pages.iter_mut().zip(FOLLOWING) {
        page.until(
            &format!("the danger shows at {path}"),
            "[...document.querySelectorAll('.alarm.danger')].some(a => a.innerText.includes('a probe is far too hot'))",
        );
        page.until("it is said", "said.length > 0");
        assert_eq!(page.eval("mine.isConnected && document.activeElement === mine"), true, "{path}: the focus went");
    }
    let shown = pages.iter_mut().map(|page| page.eval("document.getElementById('inner').dataset.asof"));
    let shown: Vec<_> = shown.collect();
    say(&mut node, at + 180.0, 44.3);
    for ((page, (path, _)), before) in pages.iter_mut().zip(FOLLOWING).zip(shown) {
        page.until("it followed", &format!("document.getElementById('inner').dataset.asof !== {before}"));
        let told = page.eval("said.join('|')").as_str().unwrap().to_owned();
        assert_eq!(told.matches("a probe is far too hot: nobody has answered yet").count(), 1, "{path}: {told}");
        let complaints = page.complaints();
        assert!(complaints.is_empty(), "{path}: {complaints:?}");
    }
    daemon.kill();
    for (page, (path, _)) in pages.iter_mut().zip(FOLLOWING) {
        let says = "document.getElementById('stale').innerText.includes('hears nothing from the watch')";
        page.until(&format!("{path} says that the watch is gone"), says);
    }
}

/// What is typed into a field; as keys would, but for the keys.
const TYPE: &str = "window.type = (field, text) => { field.focus(); field.value = text; };";

#[test]
fn a_story_follows_and_what_is_half_written_stays() {
    let dir = tempfile::tempdir().unwrap();
    let (daemon, mut node, at) = told(dir.path());
    let open = |name: &str, path: &str| {
        let own = dir.path().join(name);
        std::fs::create_dir_all(&own).unwrap();
        let mut page = Page::open(&own, PHONE, true);
        page.go(&format!("http://{}{path}", daemon.page));
        page.until("the age is told", "document.getElementById('age').textContent.startsWith('Newest reading')");
        page.eval(&format!(
            "{TYPE} window.asof = () => document.getElementById('inner').dataset.asof; window.asof0 = asof(); 0"
        ));
        page
    };
    let followed = |page: &mut Page| {
        page.until("it followed", "asof() !== asof0");
        page.eval("asof0 = asof(); 0");
    };
    let mut notes = open("notes", "/notes");
    notes.eval(
        "const d = document.querySelector('#form-words').closest('details'); d.open = true;
         window.mine = d.querySelector('textarea'); type(mine, 'two white hea');
         mine.scrollIntoView({block: 'center', behavior: 'instant'}); window.top0 = mine.getBoundingClientRect().top; 0",
    );
    heat(&mut node, at);
    wait("the danger stands", SOON, || daemon.alarm("oak", "probe-hot"));
    notes.until(
        "the danger shows",
        "[...document.querySelectorAll('.alarm.danger')].some(a => a.innerText.includes('a probe is far too hot'))",
    );
    let path = "/alarm?name=probe-hot@oak";
    let (mut one, mut other) = (open("one", path), open("other", path));
    one.eval(
        "const ack = document.querySelector('#form-ack [name=why]'); type(ack, 'I am nea');
         document.querySelector('#form-shelve select').value = '15';
         window.mine = document.querySelector('#form-shelve [name=why]'); type(mine, 'the lid was op');
         window.gone = ack; mine.scrollIntoView({block: 'center'}); window.top0 = mine.getBoundingClientRect().top; 0",
    );
    say(&mut node, at + 180.0, 44.2);
    followed(&mut one);
    other.eval("document.querySelector('#form-ack button').click(); 0");
    let answered = "[...document.querySelectorAll('.facts dt')].some(dt => dt.innerText === 'Answered')";
    other.until("it is answered", &format!("document.readyState === 'complete' && {answered}"));
    one.until("the other page shows it, too", answered);
    for (page, text) in [(&mut one, "the lid was op"), (&mut notes, "two white hea")] {
        assert_eq!(page.eval("mine.isConnected && document.activeElement === mine && mine.value"), text);
        let moved = page.eval("Math.abs(mine.getBoundingClientRect().top - top0)").as_f64().unwrap();
        assert!(moved < 3.0, "what was written moved by {moved} px");
    }
    assert_eq!(one.eval("document.querySelector('#form-shelve select').value"), "15");
    assert_eq!(one.eval("gone.isConnected && gone.value"), "I am nea", "begun, though no longer asked for");
    assert_eq!(one.eval("document.querySelector('#form-on-the-way')"), serde_json::Value::Null);
    // Given up, it goes with the next look.
    one.eval("gone.value = ''; asof0 = asof(); 0");
    say(&mut node, at + 210.0, 44.3);
    followed(&mut one);
    assert_eq!(one.eval("gone.isConnected"), false);
    // A note from elsewhere shows beside the half-written one.
    notes.eval(
        "asof0 = asof(); fetch('/note', {method: 'POST', body: new URLSearchParams({nest: 'oak', kind: 'fed'})}); 0",
    );
    notes.until("it shows", "[...document.querySelectorAll('td')].some(cell => cell.innerText === 'fed')");
    assert_eq!(notes.eval("document.activeElement === mine && mine.value"), "two white hea");
    for page in [&mut one, &mut other, &mut notes] {
        let complaints = page.complaints();
        assert!(complaints.is_empty(), "{complaints:?}");
    }
}

#[test]
fn a_page_whose_daemon_is_gone_says_so_by_itself() {
    let dir = tempfile::tempdir().unwrap();
    let (daemon, _node, _) = told(dir.path());
    let mut page = Page::open(dir.path(), PHONE, true);
    page.go(&format!("http://{}/", daemon.page));
    page.until("the age is told", "document.getElementById('age').textContent.startsWith('Newest reading')");
    assert_eq!(page.eval("document.getElementById('stale').hidden"), true);
    daemon.kill();
    page.until("it says so", "document.getElementById('stale').innerText.includes('hears nothing from the watch')");
    // Not waited for: two minutes pass on the page's own clock.
    page.eval("const real = performance.now.bind(performance); performance.now = () => real() + 130000; 0");
    page.until("it is old", "document.getElementById('stale').innerText.includes('do not rely on it')");
    assert!(page.eval("document.getElementById('age').className").as_str().unwrap().contains("late"));
}

#[test]
fn without_a_script_it_says_of_when_it_is_and_can_be_answered() {
    let dir = tempfile::tempdir().unwrap();
    let (daemon, mut node, at) = told(dir.path());
    heat(&mut node, at);
    wait("the danger stands", SOON, || daemon.alarm("oak", "probe-hot").or_else(|| daemon.alarm("oak", "brood-limit")));
    let mut page = Page::open(dir.path(), PHONE, false);
    page.go(&format!("http://{}/", daemon.page));
    let text = page.text();
    assert!(text.contains("shelf time") && text.contains("Older than 2 min: do not rely on it"), "{text}");
    let clock = page.eval("document.getElementById('clock').textContent").as_str().unwrap().to_owned();
    assert_eq!(clock.matches(':').count(), 2, "to the second: {clock}");
    assert_eq!(page.eval("document.querySelector('noscript a')?.innerText ?? ''"), "Reload it");
    page.eval("document.querySelector('.alarms form').submit(); 0");
    page.until("it is answered", "document.querySelector('.alarms')?.innerText.includes('; answered') === true");
}
