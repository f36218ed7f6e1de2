"""Designs that are wrong in one way each, and the whole message that their reader gets."""

GOOD = """\
job:
  name: ousemoor-log
  cluster: Ousemoor water levels
  estate: ../estate
package:
  file: sluicelog.ova
  profile: sluicelog
members:
  - name: log-1
    leads: first
  - name: log-2
    leads: second
  - name: log-3
names:
  zone: ousemoor.example
networks:
  - package: management
    estate: ous-mgmt
    first: 192.0.2.11
"""

# (name, what stands in GOOD, what stands there instead, the whole message)
BAD: tuple[tuple[str, str, str, str], ...] = (
    (
        "unknown-key",
        ("  cluster: Ous"),
        ("  clustr: Ous"),
        (
            "error: job.cluster is missing\n"
            "  where: design.yaml:2:3\n"
            "  why:   the cluster's name, as people say it\n"
            '  try:   add a line "cluster: …"\n'
            "\n"
            'error: unknown key "clustr" in job\n'
            "  where: design.yaml:3:3\n"
            "  why:   the keys here are approved_by, approved_on, change, cluster, engineer, estate, name, owner, platform, survey_limit\n"
            '  try:   did you mean "cluster"?'
        ),
    ),
    (
        "unknown-block",
        ("names:\n  zone"),
        ("name:\n  zone"),
        (
            "error: names is missing\n"
            "  where: design.yaml:1:1\n"
            "  why:   Names in DNS\n"
            '  try:   add a line "names: …"\n'
            "\n"
            'error: unknown key "name"\n'
            "  where: design.yaml:14:1\n"
            "  why:   the keys here are apart, clock, job, load, members, names, networks, package, storage, survive, trust, windows\n"
            '  try:   did you mean "names"?'
        ),
    ),
    (
        "unknown-far",
        ("job:\n"),
        ("job:\n  colour: red\n"),
        (
            'error: unknown key "colour" in job\n'
            "  where: design.yaml:2:3\n"
            "  why:   the keys here are approved_by, approved_on, change, cluster, engineer, estate, name, owner, platform, survey_limit\n"
            "  try:   remove the line, or use one of these keys"
        ),
    ),
    (
        "missing-key",
        ("  profile: sluicelog\n"),
        "",
        (
            "error: package.profile is missing\n"
            "  where: design.yaml:6:3\n"
            "  why:   how this appliance is spoken to: an installed profile, a YAML file, or none yet\n"
            '  try:   add a line "profile: …"'
        ),
    ),
    (
        "missing-block",
        ("names:\n  zone: ousemoor.example\n"),
        "",
        (
            "error: names is missing\n"
            "  where: design.yaml:1:1\n"
            "  why:   Names in DNS\n"
            '  try:   add a line "names: …"'
        ),
    ),
    (
        "no-value",
        ("  cluster: Ousemoor water levels"),
        ("  cluster:"),
        (
            "error: job.cluster has no value; text is expected\n"
            "  where: design.yaml:3:11\n"
            "  why:   the cluster's name, as people say it\n"
            "  try:   write a value, or remove the line"
        ),
    ),
    (
        "version-as-number",
        ("file: sluicelog.ova"),
        ("file: 1.10"),
        (
            "error: package.file = 1.10 is a number; text is expected\n"
            "  where: design.yaml:6:9\n"
            '  try:   put it in quotes: "1.10"'
        ),
    ),
    (
        "date-as-text",
        ("file: sluicelog.ova"),
        ("file: 2026-11-20"),
        (
            "error: package.file = 2026-11-20 is a date; text is expected\n"
            "  where: design.yaml:6:9\n"
            '  try:   put it in quotes: "2026-11-20"'
        ),
    ),
    (
        "text-as-truth",
        ("    leads: second"),
        ('    leads: second\n    votes: "true"'),
        (
            'error: members[1].votes = "true" is text; true or false is expected\n'
            "  where: design.yaml:13:12\n"
            "  try:   remove the quotes: true"
        ),
    ),
    (
        "word-as-truth",
        ("    leads: second"),
        ("    leads: second\n    votes: maybe"),
        (
            'error: members[1].votes = "maybe" is text; true or false is expected\n'
            "  where: design.yaml:13:12\n"
            "  try:   write true or false"
        ),
    ),
    (
        "text-as-number",
        ("names:\n"),
        ('storage: {swap_percent: "20"}\nnames:\n'),
        (
            'error: storage.swap_percent = "20" is text; a whole number is expected\n'
            "  where: design.yaml:14:25\n"
            "  try:   remove the quotes: 20"
        ),
    ),
    (
        "fraction-as-number",
        ("names:\n"),
        ("storage: {swap_percent: 12.5}\nnames:\n"),
        (
            "error: storage.swap_percent = 12.5 is a number; a whole number is expected\n"
            "  where: design.yaml:14:25\n"
            "  try:   this is: swap file beside the disks, share of memory"
        ),
    ),
    (
        "too-much",
        ("names:\n"),
        ("storage:\n  swap_percent: 120\nnames:\n"),
        (
            "error: storage.swap_percent = 120: at most 100 is allowed\n"
            "  where: design.yaml:15:17\n"
            "  try:   this is: swap file beside the disks, share of memory"
        ),
    ),
    (
        "too-little",
        ("names:\n"),
        ("load:\n  samples_per_second: -1\nnames:\n"),
        (
            "error: load.samples_per_second = -1: at least 0 is expected\n"
            "  where: design.yaml:15:23\n"
            "  try:   this is: average arrival rate"
        ),
    ),
    (
        "text-as-date",
        ("  profile: sluicelog\n"),
        ("  profile: sluicelog\n  licence_accepted_on: soon\n"),
        (
            'error: package.licence_accepted_on = "soon" is text; a date such as 2026-11-20 is expected\n'
            "  where: design.yaml:8:24\n"
            "  try:   this is: the day they did"
        ),
    ),
    (
        "text-as-list",
        ("names:\n"),
        ("apart: host\nnames:\n"),
        (
            'error: apart = "host" is text; a list of rows, each after a "-" is expected\n'
            "  where: design.yaml:14:8\n"
            '  try:   write ["host"], or rows below it'
        ),
    ),
    (
        "list-as-text",
        ("  cluster: Ousemoor water levels"),
        ("  cluster: [a, b]"),
        (
            "error: job.cluster is a list; text is expected\n"
            "  where: design.yaml:3:12\n"
            "  try:   this is: the cluster's name, as people say it"
        ),
    ),
    (
        "block-as-list",
        (
            "members:\n"
            "  - name: log-1\n"
            "    leads: first\n"
            "  - name: log-2\n"
            "    leads: second\n"
            "  - name: log-3\n"
        ),
        ("members:\n  name: log-1\n  leads: first\n"),
        (
            'error: members is a block of keys and values; a list of rows, each after a "-" is expected\n'
            "  where: design.yaml:9:3\n"
            '  try:   put a "-" before the first key of each row'
        ),
    ),
    (
        "text-as-block",
        ("names:\n  zone: ousemoor.example\n"),
        ("names: ousemoor.example\n"),
        (
            'error: names = "ousemoor.example" is text; a block of keys and values is expected\n'
            "  where: design.yaml:14:8\n"
            '  try:   write its keys, one a line, such as "zone: …"'
        ),
    ),
    (
        "no-members",
        (
            "members:\n"
            "  - name: log-1\n"
            "    leads: first\n"
            "  - name: log-2\n"
            "    leads: second\n"
            "  - name: log-3\n"
        ),
        ("members: []\n"),
        (
            "error: members has 0 rows; at least 1 is expected\n"
            "  where: design.yaml:8:10\n"
            '  try:   add a row after a "-" below members'
        ),
    ),
    (
        "allowed-values",
        ("leads: second"),
        ("leads: secnd"),
        (
            'error: members[1].leads = "secnd": first, second or never is expected\n'
            "  where: design.yaml:12:12\n"
            "  why:   first leader, its deputy, or neither\n"
            '  try:   did you mean "second"?'
        ),
    ),
    (
        "allowed-far",
        ("names:\n"),
        ("storage: {allocation: fat}\nnames:\n"),
        (
            'error: storage.allocation = "fat": thick or thin is expected\n'
            "  where: design.yaml:14:23\n"
            "  why:   for disks without a row of their own\n"
            "  try:   write one of these"
        ),
    ),
    (
        "bad-label",
        ("name: log-3"),
        ("name: Log_3"),
        (
            'error: members[2].name = "Log_3": lower-case letters, digits and hyphens are allowed, at most 63, no hyphen at either end (RFC 1123 §2.1)\n'
            "  where: design.yaml:13:11\n"
            "  try:   this is: host name of the member, without its zone"
        ),
    ),
    (
        "bad-amount",
        ("names:\n"),
        ("storage:\n  disks:\n    - {disk: data, capacity: 64 Gib}\nnames:\n"),
        (
            'error: storage.disks[0].capacity: "64 Gib" is not an amount of bytes\n'
            "  where: design.yaml:16:30\n"
            "  why:   a number and its unit are expected; MiB and MB differ by 5 %, so the unit is never guessed\n"
            '  try:   write for example "64 GiB", "500 GB" or "4096 B"'
        ),
    ),
    (
        "bare-amount",
        ("names:\n"),
        ("storage:\n  disks:\n    - {disk: data, capacity: 64}\nnames:\n"),
        (
            "error: storage.disks[0].capacity = 64 is a number; text is expected\n"
            "  where: design.yaml:16:30\n"
            '  try:   write its unit too, for example "64 GiB"'
        ),
    ),
    (
        "bare-span",
        ("  zone: ousemoor.example"),
        ("  zone: ousemoor.example\n  ttl: 300"),
        (
            "error: names.ttl = 300 is a number; text is expected\n"
            "  where: design.yaml:16:8\n"
            '  try:   write its unit too, for example "300 s"'
        ),
    ),
    (
        "bare-span-of-milliseconds",
        ("  zone: ousemoor.example\n"),
        ("  zone: ousemoor.example\nclock:\n  most_offset: 100\n"),
        (
            "error: clock.most_offset = 100 is a number; text is expected\n"
            "  where: design.yaml:17:16\n"
            '  try:   write its unit too, for example "100 ms"'
        ),
    ),
    (
        "bad-digest",
        ("  profile: sluicelog\n"),
        ("  profile: sluicelog\n  sha256: abc\n"),
        (
            'error: package.sha256 = "abc": 64 lower-case hexadecimal digits are expected\n'
            "  where: design.yaml:8:11\n"
            "  try:   this is: digest that every site must see"
        ),
    ),
    (
        "window-seconds",
        ("names:\n"),
        (
            "windows:\n"
            '  - opens: "2026-12-05 20:00:00"\n'
            "    closes: 2026-12-06 02:00\n"
            "    zone: Europe/London\n"
            "names:\n"
        ),
        (
            'error: windows[0].opens = "2026-12-05 20:00:00": a local time is expected, such as 2026-12-05 20:00\n'
            "  where: design.yaml:15:12\n"
            "  try:   write for example 2026-12-05 20:00"
        ),
    ),
    (
        "window-order",
        ("names:\n"),
        (
            "windows:\n"
            "  - opens: 2026-12-06 20:00\n"
            "    closes: 2026-12-06 02:00\n"
            "    zone: Europe/London\n"
            "names:\n"
        ),
        (
            "error: the window closes at 2026-12-06 02:00, not after it opens at 2026-12-06 20:00\n"
            "  where: design.yaml:16:13\n"
            "  try:   exchange the two, or mend the date of closes"
        ),
    ),
    (
        "window-skipped",
        ("names:\n"),
        (
            "windows:\n"
            "  - opens: 2026-03-29 02:30\n"
            "    closes: 2026-03-29 06:00\n"
            "    zone: Europe/Berlin\n"
            "names:\n"
        ),
        (
            "error: 2026-03-29 02:30 does not exist in Europe/Berlin\n"
            "  where: design.yaml:15:12\n"
            "  why:   the clocks change then; it could be read as 01:30 local (00:30 UTC) or as 03:30 local (01:30 UTC)\n"
            "  try:   take a time an hour or more away from the change"
        ),
    ),
    (
        "window-repeated",
        ("names:\n"),
        (
            "windows:\n"
            "  - opens: 2026-10-24 22:00\n"
            "    closes: 2026-10-25 02:30\n"
            "    zone: Europe/Berlin\n"
            "names:\n"
        ),
        (
            "error: 2026-10-25 02:30 exists twice in Europe/Berlin\n"
            "  where: design.yaml:16:13\n"
            "  why:   the clocks change then; it could be read as 02:30 local (00:30 UTC) or as 02:30 local (01:30 UTC)\n"
            "  try:   take a time outside the repeated hour, or write the time in UTC with zone: UTC"
        ),
    ),
    (
        "window-no-day",
        ("names:\n"),
        ("windows:\n  - opens: 2026-02-30 22:00\n    closes: 2026-03-01 02:30\n    zone: UTC\nnames:\n"),
        (
            'error: "2026-02-30 22:00" is not a time of the calendar\n'
            "  where: design.yaml:15:12\n"
            "  try:   write for example 2026-12-05 20:00"
        ),
    ),
    (
        "zone-unknown",
        ("names:\n"),
        ("clock:\n  zone: Europe/Lundon\nnames:\n"),
        (
            'error: "Europe/Lundon" is not a time zone\n'
            "  where: design.yaml:15:9\n"
            "  why:   the names of the IANA tz database are expected\n"
            '  try:   did you mean "Europe/London"?'
        ),
    ),
    (
        "same-member",
        ("name: log-3"),
        ("name: log-2"),
        (
            'error: the member "log-2" stands twice\n'
            "  where: design.yaml:13:11\n"
            "  try:   give each member a name of its own"
        ),
    ),
    (
        "no-leader",
        ("    leads: first\n"),
        "",
        (
            "error: no member leads first\n"
            "  where: design.yaml:9:3\n"
            "  why:   the first leader founds the cluster, so one must be named\n"
            "  try:   add leads: first to one row, for example to log-1"
        ),
    ),
    (
        "two-leaders",
        ("leads: second"),
        ("leads: first"),
        (
            "error: log-2 leads first, and so does log-1\n"
            "  where: design.yaml:12:12\n"
            "  why:   one member leads, and at most one is its deputy\n"
            "  try:   write leads: never for all but one"
        ),
    ),
    (
        "two-deputies",
        ("  - name: log-3"),
        ("  - name: log-3\n    leads: second"),
        (
            "error: log-3 leads second, and so does log-2\n"
            "  where: design.yaml:14:12\n"
            "  why:   one member leads, and at most one is its deputy\n"
            "  try:   write leads: never for all but one"
        ),
    ),
    (
        "data-size",
        ("  - name: log-3"),
        ("  - name: log-3\n    size: brook"),
        (
            'error: log-3 holds data and has a size of its own, "brook"\n'
            "  where: design.yaml:14:11\n"
            "  why:   members that hold data are all of one size\n"
            "  try:   remove this line and set package.size, or write data: false"
        ),
    ),
    (
        "answer-twice",
        ("  - name: log-3"),
        (
            "  - name: log-3\n"
            "    answers:\n"
            "      - {property: net.host, value: a}\n"
            "      - {property: net.host, value: b}"
        ),
        (
            'error: the answer to "net.host" stands twice\n'
            "  where: design.yaml:16:20\n"
            "  try:   keep one of the two"
        ),
    ),
    (
        "disk-twice",
        ("names:\n"),
        ("storage:\n  disks: [{disk: data}, {disk: data, allocation: thin}]\nnames:\n"),
        ('error: the disk "data" stands twice\n  where: design.yaml:15:32\n  try:   keep one row a disk'),
    ),
    (
        "survive",
        ("names:\n"),
        ("survive:\n  - any host\nnames:\n"),
        (
            'error: "any host" is not understood\n'
            "  where: design.yaml:15:5\n"
            '  why:   "any N KIND", "named: A + B" or "afterwards …" is expected\n'
            '  try:   write for example "any 1 host", "any 2 racks", "named: rack-a + feed-2", "afterwards 2 data members", '
            '"afterwards members share no host", "afterwards others may stay down" or "afterwards 6 vCPUs a core"'
        ),
    ),
    (
        "survive-unquoted",
        ("names:\n"),
        ("survive:\n  - named: rack-a + feed-2\nnames:\n"),
        (
            "error: survive[0] is a block of keys and values; text is expected\n"
            "  where: design.yaml:15:5\n"
            '  try:   put the whole text in quotes: "named: rack-a + feed-2"'
        ),
    ),
    (
        "apart-kind",
        ("names:\n"),
        ("apart: [host, Rack]\nnames:\n"),
        (
            'error: "Rack" is not a kind of domain\n'
            "  where: design.yaml:14:15\n"
            "  why:   a kind is one lower-case word\n"
            '  try:   write for example host, rack, feed, pool, array, room or site; or "2 a rack", '
            '"deputy by room", "votes by site", "data within 10 ms", "data on one CPU level"'
        ),
    ),
    (
        "apart-twice",
        ("names:\n"),
        ("apart: [host, rack, host]\nnames:\n"),
        ('error: the kind "host" stands twice\n  where: design.yaml:14:21\n  try:   remove one of the two'),
    ),
    (
        "dns-zone",
        ("zone: ousemoor.example"),
        ("zone: ousemoor_1.example"),
        (
            'error: "ousemoor_1.example" is not the name of a zone\n'
            "  where: design.yaml:15:9\n"
            '  why:   "ousemoor_1" may hold letters, digits and hyphens only, no hyphen at either end (RFC 1123 §2.1)\n'
            "  try:   write for example ousemoor.example"
        ),
    ),
    (
        "cluster-is-member",
        ("zone: ousemoor.example"),
        ("zone: ousemoor.example\n  cluster: log-2"),
        (
            'error: names.cluster = "log-2" is also the name of members[1]\n'
            "  where: design.yaml:16:12\n"
            "  why:   the cluster's name points to every member, a member's only to itself\n"
            "  try:   take another name for the cluster"
        ),
    ),
    (
        "name-server",
        ("zone: ousemoor.example"),
        ("zone: ousemoor.example\n  servers: [ns-1.ousemoor.example]"),
        (
            'error: "ns-1.ousemoor.example" is not an address\n'
            "  where: design.yaml:16:13\n"
            "  try:   write the server's address"
        ),
    ),
    (
        "time-server",
        ("names:\n"),
        ("clock: {servers: [192.0.2.1, ntp_2]}\nnames:\n"),
        (
            'error: "ntp_2" is neither a host name nor an address\n'
            "  where: design.yaml:14:30\n"
            '  why:   "ntp_2" may hold letters, digits and hyphens only, no hyphen at either end (RFC 1123 §2.1)\n'
            "  try:   write for example ntp-1.ousemoor.example"
        ),
    ),
    (
        "bad-address",
        ("first: 192.0.2.11"),
        ("first: 192.0.2.256"),
        (
            'error: "192.0.2.256" is not an address\n'
            "  where: design.yaml:19:12\n"
            "  try:   write for example 192.0.2.11 or 2001:db8::11"
        ),
    ),
    (
        "both-ways",
        ("first: 192.0.2.11"),
        ("first: 192.0.2.11\n    addresses: [192.0.2.11, 192.0.2.12, 192.0.2.13]"),
        (
            'error: the attachment of "management" has both addresses and first\n'
            "  where: design.yaml:19:12\n"
            "  try:   keep addresses (one a member) or first (consecutive free ones), not both"
        ),
    ),
    (
        "neither-way",
        ("    first: 192.0.2.11\n"),
        "",
        (
            'error: the attachment of "management" has no addresses\n'
            "  where: design.yaml:17:5\n"
            "  why:   members have fixed addresses from a planned block\n"
            '  try:   add a line "first: …" with the first of consecutive free addresses, or addresses, one a member'
        ),
    ),
    (
        "address-count",
        ("first: 192.0.2.11"),
        ("addresses: [192.0.2.11, 192.0.2.12]"),
        (
            'error: the attachment of "management" has 2 addresses for 3 members\n'
            "  where: design.yaml:19:16\n"
            "  try:   give one address a member, in the order of members"
        ),
    ),
    (
        "address-twice",
        ("first: 192.0.2.11"),
        ("addresses: [192.0.2.11, 192.0.2.12, 192.0.2.11]"),
        (
            "error: 192.0.2.11 is given twice on ous-mgmt\n"
            "  where: design.yaml:19:41\n"
            "  why:   it is given in networks[0] already\n"
            "  try:   give each member an address of its own"
        ),
    ),
    (
        "mixed-kinds",
        ("first: 192.0.2.11"),
        ('addresses: [192.0.2.11, 192.0.2.12, "2001:db8::13"]'),
        (
            'error: the attachment of "management" mixes IPv4 and IPv6 addresses\n'
            "  where: design.yaml:19:16\n"
            "  try:   write a second row for the other kind, with its own estate network"
        ),
    ),
    (
        "attached-twice",
        ("    first: 192.0.2.11\n"),
        ("    first: 192.0.2.11\n  - package: management\n    estate: ous-log\n    first: 198.51.100.11\n"),
        (
            'error: the package network "management" is attached twice for IPv4\n'
            "  where: design.yaml:20:14\n"
            "  why:   an adapter is connected to one network; a second row may add the other kind of address\n"
            "  try:   keep one of the two rows"
        ),
    ),
    (
        "named-twice",
        ("    first: 192.0.2.11\n"),
        (
            "    first: 192.0.2.11\n"
            "    named: true\n"
            "  - package: storage\n"
            "    estate: ous-log\n"
            "    first: 198.51.100.11\n"
            "    named: true\n"
        ),
        (
            "error: a second attachment with IPv4 addresses is named: true\n"
            "  where: design.yaml:24:12\n"
            "  why:   a member's DNS name points to one address of a kind\n"
            "  try:   keep named: true on one of them"
        ),
    ),
    (
        "empty",
        GOOD,
        ("# nothing yet\n"),
        (
            "error: the file says nothing\n"
            "  where: design.yaml:1:1\n"
            "  try:   write it, or restore it from version control"
        ),
    ),
    (
        "list",
        GOOD,
        ("- job\n"),
        (
            "error: the file is a list; a block of keys and values is expected\n"
            "  where: design.yaml:1:1\n"
            '  try:   write its keys, one a line, such as "job: …"'
        ),
    ),
    (
        "row-for-nobody",
        ("    first: 192.0.2.11\n"),
        (
            "    first: 192.0.2.11\n  - {package: management, site: Tolgate, estate: tg-mgmt, first: 192.0.2.140}\n"
        ),
        (
            'error: the attachment of "management" at Tolgate is for no member\n'
            "  where: design.yaml:20:33\n"
            "  why:   no member has a site\n"
            "  try:   mend the site, give members a site, or remove the row"
        ),
    ),
    (
        "member-without-row",
        ("    estate: ous-mgmt\n"),
        ("    estate: ous-mgmt\n    site: Ousemoor\n"),
        (
            'error: log-1 has no attachment of "management"\n'
            "  where: design.yaml:9:5\n"
            "  why:   no row of networks is for members without a site\n"
            "  try:   give the member a site, or add a row without a site\n"
            "\n"
            'error: log-2 has no attachment of "management"\n'
            "  where: design.yaml:11:5\n"
            "  why:   no row of networks is for members without a site\n"
            "  try:   give the member a site, or add a row without a site\n"
            "\n"
            'error: log-3 has no attachment of "management"\n'
            "  where: design.yaml:13:5\n"
            "  why:   no row of networks is for members without a site\n"
            "  try:   give the member a site, or add a row without a site\n"
            "\n"
            'error: the attachment of "management" at Ousemoor is for no member\n'
            "  where: design.yaml:19:11\n"
            "  why:   no member has a site\n"
            "  try:   mend the site, give members a site, or remove the row"
        ),
    ),
)
