//! Whom we trust on the wire: one cryptography provider and one set of trusted authorities for every client.
//!
//! Comes in: a file of own authorities, if the household has one. Goes out: a client configuration of rustls. It
//! opens no connections. The system's store is used, not one compiled in, because this machine is updated more
//! often than this program.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use rustls::pki_types::CertificateDer;
use rustls::pki_types::pem::PemObject;
use rustls::{ClientConfig, RootCertStore};

/// Why a file of own authorities cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum TlsError {
    /// The file cannot be read.
    #[error("cannot read the CA file {path}: {why}")]
    Unreadable {
        /// Which file.
        path: PathBuf,
        /// What the system said.
        why: std::io::Error,
    },
    /// There is no certificate in it, or one that is none.
    #[error(
        "the CA file {path} holds no usable certificate ({why}); it must be PEM, from -----BEGIN CERTIFICATE-----"
    )]
    NoCertificate {
        /// Which file.
        path: PathBuf,
        /// What is wrong with it.
        why: String,
    },
}

/// Installs the cryptography provider for the whole process; the first thing `main` does. A second call changes
/// nothing.
pub fn install_provider() {
    // An error means that a provider is installed already, which is what is wanted.
    let _ = rustls::crypto::ring::default_provider().install_default();
}

/// A client configuration that trusts the system's authorities, and besides them those in `ca_file` (PEM).
///
/// A machine without a certificate store gives an empty set: connections then fail one by one, with their reason.
///
/// # Errors
/// If `ca_file` cannot be read or holds no usable certificate.
pub fn client_config(ca_file: Option<&Path>) -> Result<ClientConfig, TlsError> {
    install_provider();
    let mut roots = system_roots().clone();
    if let Some(path) = ca_file {
        for certificate in certificates(path)? {
            roots
                .add(certificate)
                .map_err(|e| TlsError::NoCertificate { path: path.to_owned(), why: e.to_string() })?;
        }
    }
    Ok(ClientConfig::builder().with_root_certificates(roots).with_no_client_auth())
}

fn system_roots() -> &'static RootCertStore {
    static ROOTS: OnceLock<RootCertStore> = OnceLock::new();
    ROOTS.get_or_init(|| {
        let mut roots = RootCertStore::empty();
        roots.add_parsable_certificates(rustls_native_certs::load_native_certs().certs);
        roots
    })
}

fn certificates(path: &Path) -> Result<Vec<CertificateDer<'static>>, TlsError> {
    let bytes = fs::read(path).map_err(|why| TlsError::Unreadable { path: path.to_owned(), why })?;
    let wrong = |why: String| TlsError::NoCertificate { path: path.to_owned(), why };
    let found: Result<Vec<_>, _> = CertificateDer::pem_slice_iter(&bytes).collect();
    match found {
        Ok(list) if list.is_empty() => Err(wrong("none was found".to_owned())),
        Ok(list) => Ok(list),
        Err(e) => Err(wrong(e.to_string())),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_that_is_no_certificate_is_named() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("ca.pem");
        let missing = client_config(Some(&path)).unwrap_err().to_string();
        assert!(missing.contains("cannot read the CA file") && missing.contains("ca.pem"), "{missing}");
        fs::write(&path, "hello").unwrap();
        let none = client_config(Some(&path)).unwrap_err().to_string();
        assert!(none.contains("none was found"), "{none}");
        fs::write(&path, "-----BEGIN CERTIFICATE-----\naGVsbG8=\n-----END CERTIFICATE-----\n").unwrap();
        let broken = client_config(Some(&path)).unwrap_err().to_string();
        assert!(broken.contains("no usable certificate"), "{broken}");
        assert!(client_config(None).is_ok());
    }
}
