//! An authority and a server certificate for `localhost` and 127.0.0.1, made anew for a test by the openssl program.

#![allow(dead_code)]

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

/// A certificate of the same authority for another host.
pub fn for_another_host(folder: &Path) -> Certificate {
    let made = make(folder);
    let at = |name: &str| folder.join(name).to_str().unwrap().to_owned();
    fs::write(at("names.cnf"), "subjectAltName=DNS:elsewhere.example\nbasicConstraints=CA:FALSE\n").unwrap();
    let signed = ["-CA", &at("ca.pem"), "-CAkey", &at("ca.key"), "-CAcreateserial"];
    let files = ["-extfile", &at("names.cnf"), "-in", &at("server.csr"), "-out", &at("other.pem")];
    openssl(&[&["x509", "-req", "-days", "2"][..], &signed, &files].concat());
    Certificate { certificate: folder.join("other.pem"), ..made }
}

/// A certificate of the same authority for this host that ran out years ago.
pub fn run_out(folder: &Path) -> Certificate {
    let made = make(folder);
    let at = |name: &str| folder.join(name).to_str().unwrap().to_owned();
    let office = format!(
        "[ca]\ndefault_ca=c\n[c]\nnew_certs_dir={}\ndatabase={}\nserial={}\ndefault_md=sha256\npolicy=p\n\
         [p]\ncommonName=supplied\n",
        folder.display(),
        at("issued"),
        at("serial")
    );
    fs::write(at("office.cnf"), office).unwrap();
    fs::write(at("issued"), "").unwrap();
    fs::write(at("serial"), "01\n").unwrap();
    let signed = ["-config", &at("office.cnf"), "-cert", &at("ca.pem"), "-keyfile", &at("ca.key")];
    let days = ["-startdate", "20200101000000Z", "-enddate", "20200201000000Z"];
    let files = ["-extfile", &at("names.cnf"), "-in", &at("server.csr"), "-out", &at("old.pem")];
    openssl(&[&["ca", "-batch", "-notext"][..], &signed, &days, &files].concat());
    Certificate { certificate: folder.join("old.pem"), ..made }
}

fn openssl(arguments: &[&str]) {
    let output =
        Command::new("openssl").args(arguments).output().expect("the tests need the openssl program");
    assert!(output.status.success(), "openssl {arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
}
