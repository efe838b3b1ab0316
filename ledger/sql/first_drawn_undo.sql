drop function if exists ledger_open_since(uuid, uuid);
drop function ledger_first_drawn(uuid, uuid);
