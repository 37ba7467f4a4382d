//! A client that takes the certificate whose fingerprint it was told, and no other.
use sha2::{Digest, Sha256};
use std::{net::TcpStream, sync::Arc};
use tokio_rustls::rustls::{
    ClientConfig, ClientConnection, DigitallySignedStruct, Error, SignatureScheme, StreamOwned,
    client::danger::{HandshakeSignatureValid, ServerCertVerified, ServerCertVerifier},
    crypto::{CryptoProvider, ring, verify_tls12_signature, verify_tls13_signature},
    pki_types::{CertificateDer, ServerName, UnixTime},
};

#[derive(Debug)]
struct Pinned {
    pin: String,
    provider: Arc<CryptoProvider>,
}
impl ServerCertVerifier for Pinned {
    fn verify_server_cert(
        &self,
        own: &CertificateDer<'_>,
        _: &[CertificateDer<'_>],
        _: &ServerName<'_>,
        _: &[u8],
        _: UnixTime,
    ) -> Result<ServerCertVerified, Error> {
        let digest: Vec<String> = Sha256::digest(own).iter().map(|b| format!("{b:02X}")).collect();
        match digest.join(":") == self.pin {
            true => Ok(ServerCertVerified::assertion()),
            false => Err(Error::General("another certificate".into())),
        }
    }
    fn verify_tls12_signature(
        &self,
        message: &[u8],
        cert: &CertificateDer<'_>,
        dss: &DigitallySignedStruct,
    ) -> Result<HandshakeSignatureValid, Error> {
        verify_tls12_signature(message, cert, dss, &self.provider.signature_verification_algorithms)
    }
    fn verify_tls13_signature(
        &self,
        message: &[u8],
        cert: &CertificateDer<'_>,
        dss: &DigitallySignedStruct,
    ) -> Result<HandshakeSignatureValid, Error> {
        verify_tls13_signature(message, cert, dss, &self.provider.signature_verification_algorithms)
    }
    fn supported_verify_schemes(&self) -> Vec<SignatureScheme> {
        self.provider.signature_verification_algorithms.supported_schemes()
    }
}

/// TLS over a connection, with the certificate of this fingerprint.
pub(crate) fn over(stream: TcpStream, pin: &str) -> StreamOwned<ClientConnection, TcpStream> {
    let provider = Arc::new(ring::default_provider());
    let verifier = Arc::new(Pinned { pin: pin.to_owned(), provider: provider.clone() });
    let config = ClientConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .unwrap()
        .dangerous()
        .with_custom_certificate_verifier(verifier)
        .with_no_client_auth();
    let name = ServerName::try_from("127.0.0.1").unwrap();
    StreamOwned::new(ClientConnection::new(Arc::new(config), name).unwrap(), stream)
}

/// In PEM (RFC 7468).
pub(crate) fn pem(label: &str, der: &[u8]) -> String {
    pem_rfc7468::encode_string(label, pem_rfc7468::LineEnding::LF, der).unwrap()
}
