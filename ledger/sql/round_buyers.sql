-- The maker that buys for all has agreed to it before an order is written in its name. The co-op
-- sees its answer, and it alone gives one, until the orders are written.

select walls.key('ledger_roundbuyeranswer', false), walls.in_coop('ledger_roundbuyeranswer'),
       walls.link('ledger_roundbuyeranswer', 'round_id', 'ledger_orderround'),
       walls.append_only('ledger_roundbuyeranswer');
select walls.wall('ledger_roundbuyeranswer',
  format('coop_id = %s', walls.reads('app.coop')),
  format('coop_id = %1$s and exists (select from ledger_orderround r where r.coop_id = %1$s'
         ' and r.id = round_id and r.buyer_id = %2$s)',
         walls.reads('app.coop'), walls.reads('app.maker')));
grant select on ledger_roundbuyeranswer to stillroom_ledger;

create trigger check_buyer_answer before insert on ledger_roundbuyeranswer
  for each row execute function ledger_check_buyer_answer();
create trigger check_placement before insert on ledger_roundplacement
  for each row execute function ledger_check_placement();
