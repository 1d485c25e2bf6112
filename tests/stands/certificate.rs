//! An authority and a server certificate for `localhost` and 127.0.0.1, made anew for a test by the openssl program.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

/// Where the files are.
pub struct Certificate {
    pub authority: PathBuf,
    pub certificate: PathBuf,
    pub key: PathBuf,
}

/// Makes them in a folder.
pub fn make(folder: &Path) -> Certificate {
    let at = |name: &str| folder.join(name).to_str().unwrap().to_owned();
    fs::write(at("names.cnf"), "subjectAltName=DNS:localhost,IP:127.0.0.1\nbasicConstraints=CA:FALSE\n")
        .unwrap();
    let key = ["-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes"];
    openssl(
        &[
            &["req", "-x509", "-days", "2", "-subj", "/CN=Lowtide test authority"][..],
            &key,
            &["-keyout", &at("ca.key"), "-out", &at("ca.pem")],
        ]
        .concat(),
    );
    openssl(
        &[
            &["req", "-subj", "/CN=localhost"][..],
            &key,
            &["-keyout", &at("server.key"), "-out", &at("server.csr")],
        ]
        .concat(),
    );
    openssl(&[
        "x509",
        "-req",
        "-days",
        "2",
        "-in",
        &at("server.csr"),
        "-CA",
        &at("ca.pem"),
        "-CAkey",
        &at("ca.key"),
        "-CAcreateserial",
        "-extfile",
        &at("names.cnf"),
        "-out",
        &at("server.pem"),
    ]);
    Certificate {
        authority: folder.join("ca.pem"),
        certificate: folder.join("server.pem"),
        key: folder.join("server.key"),
    }
}

fn openssl(arguments: &[&str]) {
    let output =
        Command::new("openssl").args(arguments).output().expect("the tests need the openssl program");
    assert!(output.status.success(), "openssl {arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
}
