//! Pages over TLS: certificate and key from the files that the shelf file names, read once at the start.
use super::access::AccessError;
use crate::shelf_file::WebSettings;
use crate::small_file;
use rustls::ServerConfig;
use rustls::crypto::ring::default_provider;
use rustls::pki_types::pem::PemObject as _;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use std::path::Path;
use std::sync::Arc;

/// Largest file of certificates, or with a key, bytes.
const PEM_MAX: u64 = 1024 * 1024;

/// What makes connections secret; none where the shelf file names no certificate.
///
/// # Errors
/// If certificate or key cannot be read, or do not belong together.
pub fn config(web: &WebSettings) -> Result<Option<Arc<ServerConfig>>, AccessError> {
    let Some((cert, key)) = &web.tls else { return Ok(None) };
    let wrong = |path: &Path, why: String| AccessError {
        path: path.to_owned(),
        why,
        remedy: "cert_file takes a certificate and key_file its private key, both as PEM",
    };
    let pem = |path: &Path| small_file::text(path, PEM_MAX).map_err(|e| wrong(path, e.to_string()));
    let chain: Result<Vec<_>, _> = CertificateDer::pem_slice_iter(pem(cert)?.as_bytes()).collect();
    let chain = chain.map_err(|e| wrong(cert, e.to_string()))?;
    if chain.is_empty() {
        return Err(wrong(cert, "there is no certificate in it".to_owned()));
    }
    let secret = PrivateKeyDer::from_pem_slice(pem(key)?.as_bytes()).map_err(|e| wrong(key, e.to_string()))?;
    let builder =
        ServerConfig::builder_with_provider(Arc::new(default_provider())).with_safe_default_protocol_versions();
    let config = builder.and_then(|b| b.with_no_client_auth().with_single_cert(chain, secret));
    let mut config = config.map_err(|e| wrong(cert, e.to_string()))?;
    config.alpn_protocols = vec![b"http/1.1".to_vec()];
    Ok(Some(Arc::new(config)))
}
