CREATE TABLE access_keys (
    n INTEGER NOT NULL,
    id TEXT NOT NULL,
    name TEXT NOT NULL,
    scopes TEXT NOT NULL,
    origins TEXT NOT NULL,
    hash TEXT NOT NULL,
    made_at TEXT NOT NULL,
    expires_at TEXT,
    last_used_at TEXT,
    revoked_at TEXT,
    CONSTRAINT pk_access_keys PRIMARY KEY (n),
    CONSTRAINT uq_access_keys_id UNIQUE (id),
    CONSTRAINT uq_access_keys_hash UNIQUE (hash)
)
 STRICT;
CREATE TABLE batches (
    n INTEGER NOT NULL,
    number TEXT NOT NULL,
    data TEXT NOT NULL,
    version INTEGER NOT NULL,
    made_at TEXT NOT NULL,
    CONSTRAINT pk_batches PRIMARY KEY (n),
    CONSTRAINT uq_batches_number UNIQUE (number)
)
 STRICT;
CREATE TABLE certificate_keys (
    n INTEGER NOT NULL,
    id TEXT NOT NULL,
    public TEXT NOT NULL,
    secret TEXT NOT NULL,
    made_at TEXT NOT NULL,
    retired_at TEXT,
    CONSTRAINT pk_certificate_keys PRIMARY KEY (n),
    CONSTRAINT uq_certificate_keys_id UNIQUE (id)
)
 STRICT;
CREATE TABLE chain (
    n INTEGER NOT NULL,
    "of" TEXT NOT NULL,
    name TEXT NOT NULL,
    hash TEXT NOT NULL,
    link TEXT NOT NULL,
    CONSTRAINT pk_chain PRIMARY KEY (n),
    CONSTRAINT uq_chain_of_name UNIQUE ("of", name)
)
 STRICT;
CREATE TABLE events (
    n INTEGER NOT NULL,
    id TEXT NOT NULL,
    kind TEXT NOT NULL,
    subject TEXT NOT NULL,
    data TEXT NOT NULL,
    made_at TEXT NOT NULL,
    CONSTRAINT pk_events PRIMARY KEY (n),
    CONSTRAINT uq_events_id UNIQUE (id)
)
 STRICT;
CREATE INDEX ix_events_subject_n ON events (subject, n);
CREATE TABLE hooks (
    n INTEGER NOT NULL,
    id TEXT NOT NULL,
    url TEXT NOT NULL,
    kinds TEXT NOT NULL,
    secret TEXT NOT NULL,
    old_secret TEXT,
    old_until TEXT,
    made_at TEXT NOT NULL,
    revoked_at TEXT,
    CONSTRAINT pk_hooks PRIMARY KEY (n),
    CONSTRAINT uq_hooks_id UNIQUE (id)
)
 STRICT;
CREATE TABLE moulds (
    n INTEGER NOT NULL,
    id TEXT NOT NULL,
    name TEXT NOT NULL,
    data TEXT NOT NULL,
    version INTEGER NOT NULL,
    made_at TEXT NOT NULL,
    CONSTRAINT pk_moulds PRIMARY KEY (n),
    CONSTRAINT uq_moulds_id UNIQUE (id),
    CONSTRAINT uq_moulds_name UNIQUE (name)
)
 STRICT;
CREATE TABLE numbers (
    series TEXT NOT NULL,
    year INTEGER NOT NULL,
    last INTEGER NOT NULL,
    CONSTRAINT pk_numbers PRIMARY KEY (series, year)
)
 STRICT;
CREATE TABLE people (
    n INTEGER NOT NULL,
    id TEXT NOT NULL,
    name TEXT NOT NULL,
    made_at TEXT NOT NULL,
    CONSTRAINT pk_people PRIMARY KEY (n),
    CONSTRAINT uq_people_id UNIQUE (id),
    CONSTRAINT uq_people_name UNIQUE (name)
)
 STRICT;
CREATE TABLE recoveries (
    n INTEGER NOT NULL,
    number TEXT NOT NULL,
    data TEXT NOT NULL,
    version INTEGER NOT NULL,
    made_at TEXT NOT NULL,
    CONSTRAINT pk_recoveries PRIMARY KEY (n),
    CONSTRAINT uq_recoveries_number UNIQUE (number)
)
 STRICT;
CREATE TABLE scales (
    n INTEGER NOT NULL,
    id TEXT NOT NULL,
    name TEXT NOT NULL,
    data TEXT NOT NULL,
    version INTEGER NOT NULL,
    made_at TEXT NOT NULL,
    CONSTRAINT pk_scales PRIMARY KEY (n),
    CONSTRAINT uq_scales_id UNIQUE (id),
    CONSTRAINT uq_scales_name UNIQUE (name)
)
 STRICT;
CREATE TABLE deliveries (
    n INTEGER NOT NULL,
    id TEXT NOT NULL,
    event TEXT NOT NULL,
    hook TEXT NOT NULL,
    attempts INTEGER NOT NULL,
    next_at TEXT,
    delivered_at TEXT,
    last_answer TEXT,
    CONSTRAINT pk_deliveries PRIMARY KEY (n),
    CONSTRAINT uq_deliveries_event_hook UNIQUE (event, hook),
    CONSTRAINT uq_deliveries_id UNIQUE (id),
    CONSTRAINT fk_deliveries_event FOREIGN KEY(event) REFERENCES events (id),
    CONSTRAINT fk_deliveries_hook FOREIGN KEY(hook) REFERENCES hooks (id)
)
 STRICT;
CREATE INDEX ix_deliveries_hook_n ON deliveries (hook, n);
CREATE INDEX ix_deliveries_next_at ON deliveries (next_at);
CREATE TABLE idempotency (
    key_id TEXT NOT NULL,
    method TEXT NOT NULL,
    path TEXT NOT NULL,
    idempotency_key TEXT NOT NULL,
    body TEXT,
    status INTEGER NOT NULL,
    answer BLOB NOT NULL,
    headers TEXT NOT NULL,
    made_at TEXT NOT NULL,
    CONSTRAINT pk_idempotency PRIMARY KEY (key_id, method, path, idempotency_key),
    CONSTRAINT fk_idempotency_key_id FOREIGN KEY(key_id) REFERENCES access_keys (id)
)
 STRICT;
CREATE INDEX ix_idempotency_made_at ON idempotency (made_at);
CREATE TABLE journal_entries (
    n INTEGER NOT NULL,
    id TEXT NOT NULL,
    document TEXT NOT NULL,
    text TEXT NOT NULL,
    reverses TEXT,
    reason TEXT,
    made_at TEXT NOT NULL,
    "key" TEXT,
    person TEXT,
    CONSTRAINT pk_journal_entries PRIMARY KEY (n),
    CONSTRAINT ck_journal_entries_reason CHECK (reverses IS NULL OR reason IS NOT NULL),
    CONSTRAINT uq_journal_entries_id UNIQUE (id),
    CONSTRAINT uq_journal_entries_reverses UNIQUE (reverses),
    CONSTRAINT fk_journal_entries_reverses FOREIGN KEY(reverses) REFERENCES journal_entries (id),
    CONSTRAINT fk_journal_entries_key FOREIGN KEY("key") REFERENCES access_keys (id)
)
 STRICT;
CREATE INDEX ix_journal_entries_document ON journal_entries (document);
CREATE INDEX ix_journal_entries_made_at_n ON journal_entries (made_at, n);
CREATE TABLE periods (
    n INTEGER NOT NULL,
    month TEXT NOT NULL,
    locked_at TEXT NOT NULL,
    "key" TEXT,
    person TEXT,
    CONSTRAINT pk_periods PRIMARY KEY (n),
    CONSTRAINT uq_periods_month UNIQUE (month),
    CONSTRAINT fk_periods_key FOREIGN KEY("key") REFERENCES access_keys (id)
)
 STRICT;
CREATE TABLE prices (
    n INTEGER NOT NULL,
    id TEXT NOT NULL,
    metal TEXT NOT NULL,
    data TEXT NOT NULL,
    entered_at TEXT NOT NULL,
    "key" TEXT,
    person TEXT,
    CONSTRAINT pk_prices PRIMARY KEY (n),
    CONSTRAINT uq_prices_id UNIQUE (id),
    CONSTRAINT fk_prices_key FOREIGN KEY("key") REFERENCES access_keys (id)
)
 STRICT;
CREATE INDEX ix_prices_metal_n ON prices (metal, n);
CREATE TABLE reconciliations (
    n INTEGER NOT NULL,
    id TEXT NOT NULL,
    batch TEXT,
    recovery TEXT,
    metal TEXT NOT NULL,
    document TEXT NOT NULL,
    hash TEXT NOT NULL,
    posted_at TEXT NOT NULL,
    "key" TEXT,
    person TEXT,
    CONSTRAINT pk_reconciliations PRIMARY KEY (n),
    CONSTRAINT ck_reconciliations_one_subject CHECK ((batch IS NULL) <> (recovery IS NULL)),
    CONSTRAINT uq_reconciliations_id UNIQUE (id),
    CONSTRAINT fk_reconciliations_batch FOREIGN KEY(batch) REFERENCES batches (number),
    CONSTRAINT fk_reconciliations_recovery FOREIGN KEY(recovery) REFERENCES recoveries (number),
    CONSTRAINT fk_reconciliations_key FOREIGN KEY("key") REFERENCES access_keys (id)
)
 STRICT;
CREATE INDEX ix_reconciliations_batch_metal ON reconciliations (batch, metal);
CREATE INDEX ix_reconciliations_recovery_metal ON reconciliations (recovery, metal);
CREATE TABLE records (
    n INTEGER NOT NULL,
    id TEXT NOT NULL,
    subject TEXT NOT NULL,
    kind TEXT NOT NULL,
    data TEXT NOT NULL,
    corrects TEXT,
    reason TEXT,
    made_at TEXT NOT NULL,
    "key" TEXT,
    person TEXT,
    CONSTRAINT pk_records PRIMARY KEY (n),
    CONSTRAINT ck_records_reason CHECK (corrects IS NULL OR reason IS NOT NULL),
    CONSTRAINT uq_records_id UNIQUE (id),
    CONSTRAINT uq_records_corrects UNIQUE (corrects),
    CONSTRAINT fk_records_corrects FOREIGN KEY(corrects) REFERENCES records (id),
    CONSTRAINT fk_records_key FOREIGN KEY("key") REFERENCES access_keys (id)
)
 STRICT;
CREATE INDEX ix_records_kind_n ON records (kind, n);
CREATE INDEX ix_records_subject_kind_n ON records (subject, kind, n);
CREATE TABLE recovery_batches (
    recovery TEXT NOT NULL,
    batch TEXT NOT NULL,
    CONSTRAINT pk_recovery_batches PRIMARY KEY (recovery, batch),
    CONSTRAINT fk_recovery_batches_recovery FOREIGN KEY(recovery) REFERENCES recoveries (number),
    CONSTRAINT fk_recovery_batches_batch FOREIGN KEY(batch) REFERENCES batches (number)
)
 STRICT;
CREATE INDEX ix_recovery_batches_batch ON recovery_batches (batch);
CREATE TABLE reversals (
    n INTEGER NOT NULL,
    id TEXT NOT NULL,
    number TEXT,
    subject TEXT NOT NULL,
    reason TEXT NOT NULL,
    document TEXT,
    made_at TEXT NOT NULL,
    "key" TEXT,
    person TEXT,
    CONSTRAINT pk_reversals PRIMARY KEY (n),
    CONSTRAINT uq_reversals_id UNIQUE (id),
    CONSTRAINT uq_reversals_number UNIQUE (number),
    CONSTRAINT uq_reversals_subject UNIQUE (subject),
    CONSTRAINT fk_reversals_key FOREIGN KEY("key") REFERENCES access_keys (id)
)
 STRICT;
CREATE TABLE terms (
    n INTEGER NOT NULL,
    id TEXT NOT NULL,
    name TEXT NOT NULL,
    public INTEGER NOT NULL,
    data TEXT NOT NULL,
    made_at TEXT NOT NULL,
    "key" TEXT,
    person TEXT,
    CONSTRAINT pk_terms PRIMARY KEY (n),
    CONSTRAINT ck_terms_public CHECK (public IN (0, 1)),
    CONSTRAINT uq_terms_id UNIQUE (id),
    CONSTRAINT fk_terms_key FOREIGN KEY("key") REFERENCES access_keys (id)
)
 STRICT;
CREATE INDEX ix_terms_name_n ON terms (name, n);
CREATE INDEX ix_terms_public_n ON terms (public, n);
CREATE TABLE clients (
    n INTEGER NOT NULL,
    id TEXT NOT NULL,
    default_terms TEXT,
    version INTEGER NOT NULL,
    made_at TEXT NOT NULL,
    erased_at TEXT,
    CONSTRAINT pk_clients PRIMARY KEY (n),
    CONSTRAINT uq_clients_id UNIQUE (id),
    CONSTRAINT fk_clients_default_terms FOREIGN KEY(default_terms) REFERENCES terms (id)
)
 STRICT;
CREATE TABLE journal_lines (
    entry INTEGER NOT NULL,
    position INTEGER NOT NULL,
    account TEXT NOT NULL,
    owner TEXT NOT NULL,
    place TEXT NOT NULL,
    commodity TEXT NOT NULL,
    amount INTEGER NOT NULL,
    balance INTEGER NOT NULL,
    place_balance INTEGER NOT NULL,
    CONSTRAINT pk_journal_lines PRIMARY KEY (entry, position),
    CONSTRAINT uq_journal_lines_account_commodity_entry UNIQUE (account, commodity, entry),
    CONSTRAINT fk_journal_lines_entry FOREIGN KEY(entry) REFERENCES journal_entries (n)
)
 STRICT;
CREATE INDEX ix_journal_lines_owner_entry ON journal_lines (owner, entry);
CREATE INDEX ix_journal_lines_place_commodity_entry_position ON journal_lines (place, commodity, entry, position);
CREATE TABLE payments (
    n INTEGER NOT NULL,
    id TEXT NOT NULL,
    subject TEXT NOT NULL,
    client TEXT,
    data TEXT NOT NULL,
    made_at TEXT NOT NULL,
    "key" TEXT,
    person TEXT,
    CONSTRAINT pk_payments PRIMARY KEY (n),
    CONSTRAINT uq_payments_id UNIQUE (id),
    CONSTRAINT fk_payments_client FOREIGN KEY(client) REFERENCES clients (id),
    CONSTRAINT fk_payments_key FOREIGN KEY("key") REFERENCES access_keys (id)
)
 STRICT;
CREATE INDEX ix_payments_client_n ON payments (client, n);
CREATE INDEX ix_payments_subject_n ON payments (subject, n);
CREATE TABLE personal (
    n INTEGER NOT NULL,
    subject TEXT NOT NULL,
    kind TEXT NOT NULL,
    client TEXT,
    data TEXT NOT NULL,
    made_at TEXT NOT NULL,
    CONSTRAINT pk_personal PRIMARY KEY (n),
    CONSTRAINT uq_personal_subject_kind UNIQUE (subject, kind),
    CONSTRAINT fk_personal_client FOREIGN KEY(client) REFERENCES clients (id)
)
 STRICT;
CREATE INDEX ix_personal_client ON personal (client);
CREATE TABLE purchases (
    n INTEGER NOT NULL,
    number TEXT NOT NULL,
    client TEXT,
    document TEXT NOT NULL,
    hash TEXT NOT NULL,
    made_at TEXT NOT NULL,
    "key" TEXT,
    person TEXT,
    CONSTRAINT pk_purchases PRIMARY KEY (n),
    CONSTRAINT uq_purchases_number UNIQUE (number),
    CONSTRAINT fk_purchases_client FOREIGN KEY(client) REFERENCES clients (id),
    CONSTRAINT fk_purchases_key FOREIGN KEY("key") REFERENCES access_keys (id)
)
 STRICT;
CREATE INDEX ix_purchases_client_n ON purchases (client, n);
CREATE TABLE quotes (
    n INTEGER NOT NULL,
    number TEXT NOT NULL,
    client TEXT,
    terms TEXT NOT NULL,
    state TEXT NOT NULL,
    valid_until TEXT NOT NULL,
    request TEXT NOT NULL,
    document TEXT NOT NULL,
    hash TEXT NOT NULL,
    version INTEGER NOT NULL,
    made_at TEXT NOT NULL,
    accepted_at TEXT,
    acceptance TEXT,
    lot TEXT,
    revises TEXT,
    closed_at TEXT,
    "key" TEXT,
    person TEXT,
    CONSTRAINT pk_quotes PRIMARY KEY (n),
    CONSTRAINT ck_quotes_state CHECK (state IN ('issued', 'accepted', 'withdrawn', 'revised')),
    CONSTRAINT uq_quotes_number UNIQUE (number),
    CONSTRAINT fk_quotes_client FOREIGN KEY(client) REFERENCES clients (id),
    CONSTRAINT fk_quotes_terms FOREIGN KEY(terms) REFERENCES terms (id),
    CONSTRAINT fk_quotes_revises FOREIGN KEY(revises) REFERENCES quotes (number),
    CONSTRAINT fk_quotes_key FOREIGN KEY("key") REFERENCES access_keys (id)
)
 STRICT;
CREATE INDEX ix_quotes_client_n ON quotes (client, n);
CREATE INDEX ix_quotes_state_n ON quotes (state, n);
CREATE TABLE lots (
    n INTEGER NOT NULL,
    number TEXT NOT NULL,
    client TEXT,
    terms TEXT NOT NULL,
    quote TEXT,
    data TEXT NOT NULL,
    version INTEGER NOT NULL,
    received_at TEXT NOT NULL,
    hold_until TEXT,
    made_at TEXT NOT NULL,
    batch TEXT,
    CONSTRAINT pk_lots PRIMARY KEY (n),
    CONSTRAINT uq_lots_number UNIQUE (number),
    CONSTRAINT fk_lots_client FOREIGN KEY(client) REFERENCES clients (id),
    CONSTRAINT fk_lots_terms FOREIGN KEY(terms) REFERENCES terms (id),
    CONSTRAINT uq_lots_quote UNIQUE (quote),
    CONSTRAINT fk_lots_quote FOREIGN KEY(quote) REFERENCES quotes (number),
    CONSTRAINT fk_lots_batch FOREIGN KEY(batch) REFERENCES batches (number)
)
 STRICT;
CREATE INDEX ix_lots_batch ON lots (batch);
CREATE INDEX ix_lots_client_n ON lots (client, n);
CREATE TABLE bars (
    n INTEGER NOT NULL,
    serial TEXT NOT NULL,
    record TEXT,
    batch TEXT,
    lot TEXT,
    client TEXT,
    metal TEXT NOT NULL,
    data TEXT NOT NULL,
    state TEXT NOT NULL,
    version INTEGER NOT NULL,
    made_at TEXT NOT NULL,
    CONSTRAINT pk_bars PRIMARY KEY (n),
    CONSTRAINT ck_bars_state CHECK (state IN ('poured', 'assigned', 'handed_over', 'withdrawn')),
    CONSTRAINT uq_bars_serial UNIQUE (serial),
    CONSTRAINT fk_bars_record FOREIGN KEY(record) REFERENCES records (id),
    CONSTRAINT fk_bars_batch FOREIGN KEY(batch) REFERENCES batches (number),
    CONSTRAINT fk_bars_lot FOREIGN KEY(lot) REFERENCES lots (number),
    CONSTRAINT fk_bars_client FOREIGN KEY(client) REFERENCES clients (id)
)
 STRICT;
CREATE INDEX ix_bars_batch ON bars (batch);
CREATE INDEX ix_bars_client_state ON bars (client, state);
CREATE INDEX ix_bars_lot ON bars (lot);
CREATE TABLE photographs (
    n INTEGER NOT NULL,
    id TEXT NOT NULL,
    lot TEXT NOT NULL,
    media_type TEXT NOT NULL,
    hash TEXT NOT NULL,
    picture BLOB NOT NULL,
    made_at TEXT NOT NULL,
    "key" TEXT,
    person TEXT,
    CONSTRAINT pk_photographs PRIMARY KEY (n),
    CONSTRAINT uq_photographs_id UNIQUE (id),
    CONSTRAINT fk_photographs_lot FOREIGN KEY(lot) REFERENCES lots (number),
    CONSTRAINT fk_photographs_key FOREIGN KEY("key") REFERENCES access_keys (id)
)
 STRICT;
CREATE INDEX ix_photographs_lot ON photographs (lot);
CREATE TABLE settlements (
    n INTEGER NOT NULL,
    id TEXT NOT NULL,
    number TEXT,
    lot TEXT NOT NULL,
    state TEXT NOT NULL,
    document TEXT NOT NULL,
    inputs TEXT NOT NULL,
    hash TEXT NOT NULL,
    version INTEGER NOT NULL,
    made_at TEXT NOT NULL,
    posted_at TEXT,
    "key" TEXT,
    person TEXT,
    CONSTRAINT pk_settlements PRIMARY KEY (n),
    CONSTRAINT ck_settlements_state CHECK (state IN ('draft', 'posted', 'reversed')),
    CONSTRAINT ck_settlements_number CHECK ((state = 'draft') = (number IS NULL)),
    CONSTRAINT uq_settlements_id UNIQUE (id),
    CONSTRAINT uq_settlements_number UNIQUE (number),
    CONSTRAINT fk_settlements_lot FOREIGN KEY(lot) REFERENCES lots (number),
    CONSTRAINT fk_settlements_key FOREIGN KEY("key") REFERENCES access_keys (id)
)
 STRICT;
CREATE INDEX ix_settlements_lot_n ON settlements (lot, n);
CREATE INDEX ix_settlements_state_n ON settlements (state, n);
