drop trigger check_placement on ledger_roundplacement;
drop function ledger_check_placement();
drop trigger check_buyer_answer on ledger_roundbuyeranswer;
drop function ledger_check_buyer_answer();
