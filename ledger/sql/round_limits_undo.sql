drop function ledger_round_above_highest(uuid, jsonb);
