//! A real browser that is watched and touched: headless Chromium, spoken to over a pair of pipes (the DevTools
//! protocol, as its own `--remote-debugging-pipe` documents it: JSON, each message ended by a zero byte).
use crate::{moment, wait};
use serde_json::{Value, json};
use std::fs::{File, OpenOptions};
use std::io::{BufRead as _, BufReader, Write as _};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, sync_channel};
use std::time::Duration;

/// The browser; `tests/run` sees to it that it is there.
pub const BROWSER: &str = "chromium";
/// It may take so long for anything on a busy machine.
pub const WITHIN: Duration = Duration::from_secs(90);

/// Messages of the browser that wait to be looked at; then it waits.
const MESSAGES_MAX: usize = 4_096;

/// One open page; the browser ends with it.
#[derive(Debug)]
pub struct Page {
    child: Child,
    to: File,
    from: Receiver<Value>,
    session: String,
    next: u64,
    complaints: Vec<String>,
}

impl Page {
    /// Starts the browser with a blank page of this size, CSS pixels; `dir` is its own. Without `scripts` no page's
    /// script runs.
    pub fn open(dir: &Path, (width, height): (u32, u32), scripts: bool) -> Self {
        let own = |name: &str| dir.join(name);
        for name in ["to-browser", "from-browser"] {
            let made = Command::new("mkfifo").arg(own(name)).status().expect("mkfifo is there");
            assert!(made.success(), "no pipe {name}");
        }
        let flags = "--headless --no-sandbox --disable-gpu --disable-quic --no-first-run --disable-sync \
            --disable-background-networking --disable-component-update --disable-dev-shm-usage --hide-scrollbars \
            --remote-debugging-pipe";
        let line = format!(r#"exec {BROWSER} {flags} --user-data-dir="$3" about:blank 3<"$1" 4>"$2""#);
        let child = Command::new("sh")
            .args(["-c", &line, "sh"])
            .args([own("to-browser"), own("from-browser"), own("profile")])
            .env("HOME", dir)
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(File::create(own("browser.err")).expect("a file"))
            .spawn()
            .expect("a shell is there");
        // The shell opens them in this order, and waits for this side.
        let to = OpenOptions::new().write(true).open(own("to-browser")).expect("the shell reads");
        let out = File::open(own("from-browser")).expect("the shell writes");
        let (sender, from) = sync_channel(MESSAGES_MAX);
        std::thread::spawn(move || {
            let mut out = BufReader::new(out);
            let mut bytes = Vec::new();
            while out.read_until(0, &mut bytes).is_ok_and(|n| n > 0) {
                bytes.pop();
                let Ok(message) = serde_json::from_slice(&bytes) else { break };
                if sender.send(message).is_err() {
                    break;
                }
                bytes.clear();
            }
        });
        let mut page = Self { child, to, from, session: String::new(), next: 0, complaints: Vec::new() };
        let target = page.call("Target.createTarget", &json!({"url": "about:blank"}));
        let attach = json!({"targetId": target["targetId"], "flatten": true});
        page.session = page.call("Target.attachToTarget", &attach)["sessionId"].as_str().expect("a name").to_owned();
        for domain in ["Page.enable", "Runtime.enable", "Log.enable"] {
            page.call(domain, &json!({}));
        }
        page.size((width, height));
        page.call("Emulation.setScriptExecutionDisabled", &json!({"value": !scripts}));
        page
    }

    /// Gives the window another size, CSS pixels.
    pub fn size(&mut self, (width, height): (u32, u32)) {
        let size = json!({"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600});
        self.call("Emulation.setDeviceMetricsOverride", &size);
    }

    /// The reader prefers so: `prefers-color-scheme` and `dark`.
    pub fn prefer(&mut self, what: &str, how: &str) {
        let features = json!({"features": [{"name": what, "value": how}]});
        self.call("Emulation.setEmulatedMedia", &features);
    }

    /// A picture of the whole page, for people to look at: PNG, base64.
    pub fn picture(&mut self) -> String {
        let asked = json!({"format": "png", "captureBeyondViewport": true});
        self.call("Page.captureScreenshot", &asked)["data"].as_str().unwrap_or_default().to_owned()
    }

    /// Opens an address, and waits until it has loaded.
    pub fn go(&mut self, address: &str) {
        self.call("Page.navigate", &json!({"url": address}));
        self.until("the page has loaded", "document.readyState === 'complete' && location.href !== 'about:blank'");
    }

    /// What a script expression gives, in the page.
    ///
    /// # Panics
    /// If it throws.
    pub fn eval(&mut self, script: &str) -> Value {
        self.try_eval(script).unwrap_or_else(|refused| panic!("{script}: {refused}"))
    }

    /// What it gives, or the browser's refusal: a page that is just being left has nothing to ask any more.
    fn try_eval(&mut self, script: &str) -> Result<Value, Value> {
        let ask = json!({"expression": script, "awaitPromise": true, "returnByValue": true});
        let answer = self.ask("Runtime.evaluate", &ask)?;
        assert!(answer.get("exceptionDetails").is_none(), "{script}: {answer}");
        Ok(answer["result"]["value"].clone())
    }

    /// The text that a person sees.
    pub fn text(&mut self) -> String {
        self.eval("document.body.innerText").as_str().unwrap_or_default().to_owned()
    }

    /// Waits until an expression is true; a page may take another's place meanwhile.
    ///
    /// # Panics
    /// If it never is.
    pub fn until(&mut self, what: &str, script: &str) {
        wait(what, WITHIN, || (self.try_eval(script) == Ok(Value::Bool(true))).then_some(()));
    }

    /// A key, as `Tab` or `ArrowRight`, pressed and let go.
    pub fn key(&mut self, key: &str, code: u32) {
        for kind in ["rawKeyDown", "keyUp"] {
            let what = json!({"type": kind, "key": key, "code": key, "windowsVirtualKeyCode": code});
            self.call("Input.dispatchKeyEvent", &what);
        }
    }

    /// The pointer moves to a place of the window, CSS pixels.
    pub fn point(&mut self, x: f64, y: f64) {
        self.call("Input.dispatchMouseEvent", &json!({"type": "mouseMoved", "x": x, "y": y}));
    }

    /// What the console was told as an error or a warning so far, a refusal by the page's policy included.
    pub fn complaints(&mut self) -> Vec<String> {
        // An answer comes after all that was said before it.
        self.eval("0");
        self.complaints.clone()
    }

    fn call(&mut self, method: &str, params: &Value) -> Value {
        self.ask(method, params).unwrap_or_else(|refused| panic!("{method}: {refused}"))
    }

    fn ask(&mut self, method: &str, params: &Value) -> Result<Value, Value> {
        self.next += 1;
        let mut message = json!({"id": self.next, "method": method, "params": params});
        if !self.session.is_empty() {
            message["sessionId"] = self.session.clone().into();
        }
        let mut bytes = message.to_string().into_bytes();
        bytes.push(0);
        self.to.write_all(&bytes).expect("the browser listens");
        let began = moment();
        loop {
            let left = WITHIN.checked_sub(began.elapsed()).unwrap_or_else(|| panic!("{method}: no answer"));
            let told = self.from.recv_timeout(left).unwrap_or_else(|e| panic!("{method}: {e}"));
            if told["id"] == self.next {
                return told.get("error").map_or_else(|| Ok(told["result"].clone()), |refused| Err(refused.clone()));
            }
            self.hear(&told);
        }
    }

    fn hear(&mut self, told: &Value) {
        let params = &told["params"];
        let bad = match told["method"].as_str() {
            Some("Runtime.exceptionThrown") => true,
            Some("Runtime.consoleAPICalled") => matches!(params["type"].as_str(), Some("error" | "warning")),
            Some("Log.entryAdded") => matches!(params["entry"]["level"].as_str(), Some("error" | "warning")),
            _ => false,
        };
        if bad {
            self.complaints.push(params.to_string());
        }
    }
}

impl Drop for Page {
    fn drop(&mut self) {
        // If it has ended already there is nothing to end.
        drop(self.child.kill());
        drop(self.child.wait());
    }
}
