//! What is legal but unwise about who reaches the pages.
use super::findings::Findings;
use super::settings::WebSettings;
use std::path::PathBuf;

/// Notes all advice on the pages.
pub(super) fn advise(web: &WebSettings, f: &mut Findings) {
    if web.open {
        let why = "anyone who reaches the pages can look without a password: when you are away, what is kept where";
        f.advise("web.reading", why, "keep it to a network you trust");
    }
    let far =
        |url: &String| reqwest::Url::parse(url).is_ok_and(|u| u.host_str().is_some_and(|host| !is_loopback(host)));
    if web.listen.ip().is_loopback() && web.proxy.is_none() && web.url.as_ref().is_some_and(far) {
        let why = "is reached from elsewhere, but the pages listen on this machine only: something must stand between";
        f.advise("web.url", why, "if it is a proxy, name its address as proxy, and add a password_file");
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
