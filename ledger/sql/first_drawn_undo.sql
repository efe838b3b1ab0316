drop function ledger_first_drawn(uuid, uuid);
