drop function ledger_hand_out(uuid, uuid, timestamptz, int, text, numeric, boolean, int, text[],
                              jsonb);
drop function ledger_begin_hand_out(uuid);
drop function ledger_round_lots(uuid);
drop function ledger_round_delivered(uuid);
drop function ledger_round_arrived(uuid);
drop function ledger_round_dues(uuid);
drop function ledger_round_told(uuid);
drop function ledger_round_seen(uuid);
