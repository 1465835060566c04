#!/bin/sh
# The system packages of the sound rig on Debian and Ubuntu, and on Debian the browser that
# shows a report (Ubuntu has it as a snap only): installed if they are missing, we are root and
# apt-get is there. Else it says what is missing, and those tests are skipped; in continuous
# integration (CI=true) that is a failure.
set -u
PATH=$PATH:/usr/sbin:/sbin

missing() {
  command -v jackd >/dev/null || echo jackd2
  ldconfig -p 2>/dev/null | grep -q 'libportaudio\.so\.2' || echo libportaudio2
  grep -qs '^ID=debian' /etc/os-release && { command -v chromium >/dev/null || echo chromium; }
}

wanted=$(missing | xargs)
[ -z "$wanted" ] && exit 0

if [ "$(id -u)" -eq 0 ] && command -v apt-get >/dev/null; then
  echo "Installing $wanted for the tests ..."
  export DEBIAN_FRONTEND=noninteractive
  # shellcheck disable=SC2086 # one word a package
  { apt-get -qq update && apt-get -qq install -y --no-install-recommends $wanted; } >/dev/null
fi

wanted=$(missing | xargs)
[ -z "$wanted" ] && exit 0
echo "Some tests need: $wanted (as root: apt-get install --no-install-recommends $wanted)"
[ "${CI:-}" != true ]
