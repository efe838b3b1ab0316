drop function ledger_accept_transfer(
  uuid, timestamptz, int, int, text, uuid, uuid, uuid[], uuid[]);
drop function ledger_promised_to(uuid, uuid);
drop function ledger_free_to_give(uuid, uuid);
drop function ledger_move_between(
  ledger_transfer, timestamptz, int, int, int, text, uuid, uuid, uuid[], uuid[]);
