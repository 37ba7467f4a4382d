#!/usr/bin/env bash
# An invented time-stamping service, for trials: answers one request with `openssl ts`. FOLDER/root.pem vouches for it.
#
# Usage: stamp_service.sh FOLDER REQUEST.tsq ANSWER.tsr
set -euo pipefail
request=$(realpath "$2") answer=$(realpath -m "$3")
mkdir -p "$1" && cd "$1"
if [ ! -f root.pem ]; then
    cat >cnf <<'C'
[ req ]
distinguished_name = name
[ name ]
[ root ]
basicConstraints = critical,CA:true
keyUsage = critical,keyCertSign
[ service ]
basicConstraints = critical,CA:false
keyUsage = critical,digitalSignature
extendedKeyUsage = critical,timeStamping
[ tsa ]
serial = serial
default_policy = 1.3.6.1.4.1.32473.1
signer_digest = sha256
digests = sha256
ess_cert_id_alg = sha256
C
    echo 01 >serial
    new=(-newkey rsa:2048 -nodes -config cnf)
    openssl req -x509 "${new[@]}" -keyout root-key -out root.pem -days 3650 -subj "/O=Invented Time/CN=Root" -extensions root 2>/dev/null
    openssl req "${new[@]}" -keyout key -out request -subj "/O=Invented Time/CN=Service" 2>/dev/null
    openssl x509 -req -in request -CA root.pem -CAkey root-key -set_serial 2 -days 3650 -extfile cnf -extensions service -out service.pem 2>/dev/null
fi
openssl ts -reply -queryfile "$request" -config cnf -section tsa -signer service.pem -inkey key -out "$answer" 2>/dev/null
