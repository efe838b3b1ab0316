-- Offers of suppliers and their terms. A row without a maker is the whole co-op's, one with a maker
-- is its own; what hangs on an offer is as much a maker's own as the offer is. Rows are only added.

select walls.key(t, false), walls.in_coop(t), walls.link(t, 'maker_id', 'ledger_maker'),
       walls.append_only(t)
  from unnest(array['ledger_offer', 'ledger_offerprice', 'ledger_offerbreak',
                    'ledger_supplierterms']) t;
select walls.link('ledger_offer', 'supplier_id', 'ledger_supplier'),
       walls.link('ledger_offer', 'material_id', 'ledger_material'),
       walls.link('ledger_offerprice', 'offer_id', 'ledger_offer'),
       walls.link('ledger_offerbreak', 'offer_price_id', 'ledger_offerprice'),
       walls.link('ledger_supplierterms', 'supplier_id', 'ledger_supplier');

-- What hangs on another row is written with the maker of that row. An offer that all see is of a
-- material that all know.
select walls.wall(t, own, own || written)
  from (select format('coop_id = %s and (maker_id is null or maker_id = %s)',
                      walls.reads('app.coop'), walls.reads('app.maker'))) s(own),
       (values
         ('ledger_supplierterms', ''),
         ('ledger_offer', ' and exists (select from ledger_material m'
          ' where m.coop_id = ledger_offer.coop_id and m.id = ledger_offer.material_id'
          ' and (m.maker_id is null or m.maker_id = ledger_offer.maker_id))'),
         ('ledger_offerprice', ' and exists (select from ledger_offer o'
          ' where o.coop_id = ledger_offerprice.coop_id and o.id = ledger_offerprice.offer_id'
          ' and o.maker_id is not distinct from ledger_offerprice.maker_id)'),
         ('ledger_offerbreak', ' and exists (select from ledger_offerprice p'
          ' where p.coop_id = ledger_offerbreak.coop_id and p.id = ledger_offerbreak.offer_price_id'
          ' and p.maker_id is not distinct from ledger_offerbreak.maker_id)')) w(t, written);

-- Both amounts say the same: half a millionth is what rounding may take.
alter table ledger_offerprice add constraint offer_price_at_its_rate
  check (abs(own_price - price * rate) <= 0.0000005);
alter table ledger_supplierterms add constraint supplier_terms_at_their_rate
  check (abs(own_minimum - minimum * rate) <= 0.0000005
    and abs(own_freight - freight * rate) <= 0.0000005
    and abs(own_free_from - free_from * rate) <= 0.0000005);

-- Breaks begin above one pack and rise, and each lowers the price of a pack; all of one price are
-- written at once, in their order.
create function ledger_check_breaks() returns trigger language plpgsql as $$
begin
  if exists (
    select from (
      select b.quantity, b.price, b.own_price,
             coalesce(lag(b.quantity) over each_price, o.quantity) as after_quantity,
             coalesce(lag(b.price) over each_price, p.price) as below_price,
             p.rate
        from (select distinct coop_id, offer_price_id from added) a
        join ledger_offerprice p on p.coop_id = a.coop_id and p.id = a.offer_price_id
        join ledger_offer o on o.coop_id = p.coop_id and o.id = p.offer_id
        join ledger_offerbreak b on b.coop_id = p.coop_id and b.offer_price_id = p.id
        window each_price as (partition by b.offer_price_id order by b.position)) s
      where (s.quantity > s.after_quantity and s.price < s.below_price
             and abs(s.own_price - s.price * s.rate) <= 0.0000005) is not true) then
    raise exception 'Breaks begin above one pack, rise, and lower the price.'
      using errcode = '23514', constraint = 'offer_breaks_in_order';
  end if;
  return null;
end $$;
create trigger check_breaks after insert on ledger_offerbreak
  referencing new table as added for each statement execute function ledger_check_breaks();
