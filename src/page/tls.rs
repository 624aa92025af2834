//! A self-signed certificate, made anew at every start and kept in memory alone.

use super::log::log;
use crate::error::Error;
use axum_server::tls_rustls::RustlsConfig;
use rcgen::{CertificateParams, KeyPair};
use rustls::ServerConfig;
use rustls::pki_types::{PrivateKeyDer, PrivatePkcs8KeyDer};
use sha2::{Digest, Sha256};
use std::sync::Arc;

/// The server's side of TLS for these names, and the certificate's SHA-256 as browsers show it.
pub(super) fn self_signed(names: Vec<String>) -> Result<(RustlsConfig, String), Error> {
    let failed = |error: String| {
        log(&format!("TLS: {error}"));
        Error::usage("no certificate could be made", "start without --tls, or report this as a defect")
    };
    let key = KeyPair::generate().map_err(|error| failed(error.to_string()))?;
    let parameters = CertificateParams::new(names).map_err(|error| failed(error.to_string()))?;
    let certificate = parameters.self_signed(&key).map_err(|error| failed(error.to_string()))?;
    let digest = Sha256::digest(certificate.der());
    let fingerprint = digest.iter().map(|byte| format!("{byte:02X}")).collect::<Vec<_>>().join(":");
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let private = PrivateKeyDer::Pkcs8(PrivatePkcs8KeyDer::from(key.serialize_der()));
    let mut config = ServerConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .and_then(|builder| builder.with_no_client_auth().with_single_cert(vec![certificate.der().clone()], private))
        .map_err(|error| failed(error.to_string()))?;
    config.alpn_protocols = vec![b"http/1.1".to_vec()];
    Ok((RustlsConfig::from_config(Arc::new(config)), fingerprint))
}
