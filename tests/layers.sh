#!/bin/sh
# A layer includes only what is below it, and each library is known to one
# place: replacing one is then a change of one file.
set -eu
cd "$(dirname "$0")/.."
wrong=0

# forbid WHERE PATTERN WHY: no line of these files may match
forbid() {
    if grep -nE "$2" $1; then
        echo "layers: $3" >&2
        wrong=$((wrong + 1))
    fi
}

# only NAME PATTERN FILE...: the pattern stands in these files alone
only() {
    name=$1 pattern=$2
    shift 2
    for file in $(grep -lE "$pattern" planner/*.[ch] adapters/*.[ch] service/*.[ch] || true); do
        case " $* " in
        *" $file "*) ;;
        *)
            echo "layers: $file knows $name" >&2
            wrong=$((wrong + 1))
            ;;
        esac
    done
}

forbid "$(ls planner/*.[ch])" '#include "(adapters|service)/' \
    'the planner includes what is above it'
forbid "$(ls adapters/*.[ch])" '#include "service/' \
    'an adapter includes the service'
forbid "$(ls planner/*.[ch] adapters/*.[ch] service/*.[ch])" \
    '#include "[^/"]+"' 'an include is not written from the top'
forbid "$(ls planner/*.[ch])" \
    '(^|[^a-z_.>])(malloc|calloc|realloc|free|fopen|printf|time|clock_gettime|rand|getenv)\(' \
    'the planner has no heap, file, clock or randomness'
forbid "$(ls planner/*.[ch] adapters/*.[ch] service/*.[ch])" \
    '(^|[^a-z_])(strcpy|strcat|sprintf|strtok|atoi|gets)\(' 'a banned function'

only SQLite '#include <sqlite3\.h>' service/db.c service/db_copy.c \
    service/db_fault.c
only libcurl '#include <curl/' adapters/http_client_work.h
only libmicrohttpd '#include <microhttpd\.h>' adapters/http_server_work.h
only inih '#include <ini\.h>' adapters/ini_file.c
only 'TLS of OpenSSL' '#include <openssl/ssl\.h>' adapters/tls_work.h
only iconv '#include <iconv\.h>' adapters/hl7_charset.h
only libcsv '#include <csv\.h>' adapters/csv_file.c
only 'cairo and pango' '#include <(cairo|pango)' adapters/canvas*.[ch]
only gettext '#include <libintl\.h>' adapters/catalogue.h
only zstd '#include <zstd\.h>' service/pack.c
only jansson '#include <jansson\.h>' adapters/fhir_*.[ch] adapters/jose*.[ch] \
    adapters/oauth.c
only 'keys of OpenSSL' 'EVP_PKEY|#include <openssl/(ec|rsa|ecdsa|pem|core_names|param_build)\.h>' \
    adapters/jose*.[ch]

if [ "$wrong" -gt 0 ]; then
    echo "layers: $wrong faults" >&2
    exit 1
fi
echo "layers: in order"
