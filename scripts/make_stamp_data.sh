#!/usr/bin/env bash
# Makes the time stamps that harness/stamp/tests read, with the services of `openssl ts`, into harness/stamp/tests/data. Keys are thrown away.
#
# Each .tsr is an answer over the SHA-256 of `stamped.txt`; the services are invented.
set -euo pipefail
out="$(cd "$(dirname "$0")/.." && pwd)/harness/stamp/tests/data"
mkdir -p "$out"
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
cd "$work"
exec 2>openssl.log
trap 'cat openssl.log' ERR

cat >cnf <<'C'
[ req ]
distinguished_name = name
[ name ]
[ ca ]
basicConstraints = critical,CA:true
keyUsage = critical,keyCertSign,cRLSign
[ not_ca ]
basicConstraints = critical,CA:false
[ service ]
basicConstraints = CA:false
keyUsage = critical,digitalSignature
extendedKeyUsage = critical,timeStamping
[ plain ]
serial = serial
default_policy = 1.3.6.1.4.1.32473.1
signer_digest = sha256
digests = sha256
accuracy = secs:1
ess_cert_id_alg = sha256
[ older ]
serial = serial
default_policy = 1.3.6.1.4.1.32473.2
signer_digest = sha512
digests = sha256
clock_precision_digits = 3
tsa_name = yes
ess_cert_id_alg = sha1
C
rsa() { openssl genpkey -algorithm rsa -pkeyopt rsa_keygen_bits:2048 -out "$1.key"; }
curve() { openssl genpkey -algorithm ec -pkeyopt "ec_paramgen_curve:$2" -out "$1.key"; }
# root NAME SUBJECT
root() { openssl req -x509 -key "$1.key" -subj "/O=Invented Time/CN=$2" -days 36500 -config cnf -extensions ca -out "$1.pem"; }
# issue NAME SUBJECT BY EXTENSIONS DAYS
issue() {
    openssl req -new -key "$1.key" -subj "/O=Invented Time/CN=$2" -config cnf -out "$1.csr"
    openssl x509 -req -in "$1.csr" -CA "$3.pem" -CAkey "$3.key" -set_serial "0x$(openssl rand -hex 8)" -days "$5" -extfile cnf -extensions "$4" -out "$1.pem"
}
# answer NAME SERVICE SECTION [MORE]
answer() { openssl ts -reply -queryfile request.tsq -config cnf -section "$3" -signer "$2.pem" -inkey "$2.key" "${@:4}" -out "$1.tsr"; }

echo 01 >serial
echo "what was stamped" >stamped.txt
openssl ts -query -data stamped.txt -sha256 -cert -no_nonce -out request.tsq
rsa root; root root "Root"
rsa impostor; root impostor "Root"
rsa service; issue service "Service" root service 36500
curve root-ec P-384; root root-ec "Root of curves"
curve between P-256; issue between "Between" root-ec ca 36500
curve service-ec P-256; issue service-ec "Service of curves" between service 36500
curve clerk P-256; issue clerk "Clerk" root-ec not_ca 36500
curve service-clerk P-256; issue service-clerk "Service by a clerk" clerk service 36500
curve service-over P-256; issue service-over "Service that is over" root-ec service 0
sleep 2
answer rsa service plain
answer curves service-ec older -chain between.pem
answer clerk service-clerk plain -chain clerk.pem
answer over service-over plain
openssl ts -query -data stamped.txt -sha256 -cert -no_nonce -tspolicy 1.3.6.1.4.1.32473.9 -out refused.tsq
openssl ts -reply -queryfile refused.tsq -config cnf -section plain -signer service.pem -inkey service.key -out refused.tsr
openssl ts -verify -queryfile request.tsq -in rsa.tsr -CAfile root.pem
openssl ts -verify -queryfile request.tsq -in curves.tsr -CAfile root-ec.pem
cp stamped.txt request.tsq ./*.tsr root.pem root-ec.pem impostor.pem "$out"
