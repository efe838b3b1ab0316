drop function ledger_draw_in_turn(uuid, ledger_move[], uuid[]);
