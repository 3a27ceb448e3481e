//! What is legal but unwise about who reaches the pages.
use super::findings::Findings;
use super::settings::WebSettings;
use dashboards::say;
use std::path::PathBuf;

/// Notes all advice on the pages.
pub(super) fn advise(web: &WebSettings, f: &mut Findings) {
    if web.open {
        f.advise("web.reading", say!("unwise-open-pages"), say!("unwise-network-do"));
    }
    let far =
        |url: &String| reqwest::Url::parse(url).is_ok_and(|u| u.host_str().is_some_and(|host| !is_loopback(host)));
    if web.listen.ip().is_loopback() && web.proxy.is_none() && web.url.as_ref().is_some_and(far) {
        f.advise("web.url", say!("unwise-url"), say!("unwise-url-do"));
    }
}

/// The files that are named, with their keys.
pub(super) fn files(web: &WebSettings) -> impl Iterator<Item = (String, &PathBuf)> {
    let password = web.password_file.iter().map(|p| ("web.password_file".to_owned(), p));
    let tls =
        web.tls.iter().flat_map(|(cert, key)| [("web.cert_file".to_owned(), cert), ("web.key_file".to_owned(), key)]);
    password.chain(tls)
}

/// Whether a host in an address is this machine.
pub(super) fn is_loopback(host: &str) -> bool {
    host == "localhost" || host.trim_matches(['[', ']']).parse::<std::net::IpAddr>().is_ok_and(|ip| ip.is_loopback())
}
