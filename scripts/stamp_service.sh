#!/usr/bin/env bash
# An invented time-stamping service, for trials: answers one request with `openssl ts`. Its certificate is FOLDER/service.pem.
#
# Usage: stamp_service.sh FOLDER REQUEST.tsq ANSWER.tsr
set -euo pipefail
request=$(realpath "$2") answer=$(realpath -m "$3")
mkdir -p "$1" && cd "$1"
if [ ! -f service.pem ]; then
    cat >cnf <<'C'
[ req ]
distinguished_name = name
[ name ]
[ service ]
basicConstraints = critical,CA:true
keyUsage = critical,digitalSignature,keyCertSign
extendedKeyUsage = critical,timeStamping
[ tsa ]
serial = serial
default_policy = 1.3.6.1.4.1.32473.1
signer_digest = sha256
digests = sha256
ess_cert_id_alg = sha256
C
    echo 01 >serial
    openssl req -x509 -newkey rsa:2048 -nodes -keyout key -out service.pem -days 3650 -subj "/O=Invented Time" -config cnf -extensions service 2>/dev/null
fi
openssl ts -reply -queryfile "$request" -config cnf -section tsa -signer service.pem -inkey key -out "$answer" 2>/dev/null
