"""What the box does with each input in each state: the whole behaviour as one table.

A row has a state, an event, when, do, then, and the words that the screen shows beside that control. The
first row whose `when` is true fires ("-" is always true): `do` is called, and then the box is in the state
`then` ("before" is the state from which the viewing light was lit, the second contact closed, or the start
delay begun). `when` and `do` are names in the tables of `box`, which say what is called. If `do` raises
Refusal, the state stays as it was and the refusal is shown. An event without a row changes nothing.

Events are the controls, "tick" (a deadline of the box's own), "lamp_end" (the lamp has reported how long it
was lit; if it does not report, `report_for_lamp` takes it to be out and raises the event itself),
"power_up", "count" and "end_count" (the wire asks for contacts to be counted, and no longer), and "handover"
(the wire asks for the prompt).

The screen takes its words from the row that would fire, so no control does what the screen does not say. "@"
stands for what they are about, such as the seconds to give.

The lamp is lit only in the states of LIT. `stopping` lasts from putting the lamp out until it has reported
how long it was lit. In three of them it is dark, and the light comes by itself: `delaying`, where the bench
has a start delay, lasts from the press until that is over; `arming`, where a second contact is fitted, until
that is closed; and `between` from one strike to the next of a stage that has several.
"""

LIT = ("exposing", "viewing", "stopping", "arming", "delaying", "between")

STATES = (
    ("off", "before power-up"),
    ("browse", "on a screen, the cursor on a row"),
    ("edit", "a value is open: a proposal"),
    ("delaying", "the start delay before a stage's light"),
    ("arming", "the second contact closes before light"),
    ("viewing", "viewing light is on"),
    ("ready", "a stage waits for EXPOSE"),
    ("exposing", "the stage's light is on"),
    ("stopping", "put out, the lamp reports its time"),
    ("held", "dark in mid-stage"),
    ("between", "dark, the stage's next strike follows"),
    ("waiting", "a guided test waits, and counts it"),
    ("ask", "asked whether to end the run that is kept"),
    ("choose", "a strip is given, choosing a patch"),
    ("notice", "a run was cut off by a reset"),
    ("counting", "contacts are counted, and nothing gives light"),
    ("away", "handed over to the prompt"),
)

# One text, since tuples of strings would take five times the memory on the board.
TRANSITIONS = """
off       power_up  was_cut_off      wake_cut_off      notice
off       power_up  -                wake              browse
# A screen. For the settling time after light, no key lights the lamp nor leads to it
browse    expose    too_early_here   refuse_early      browse    wait
browse    expose    is_faulty        tell_fault        browse    cannot: why?
browse    expose    cannot_begin     tell_why          browse    cannot: why?
browse    expose    another_is_kept  -                 ask       another run?
browse    expose    on_print         begin             ready     @, no light yet
browse    expose    on_strip         begin             ready     @, no light yet
browse    expose    on_test          begin             ready     @, no light yet
browse    lamp      is_settling      refuse_early      browse    wait
browse    lamp      cannot_view      tell_fault        browse    cannot: why?
browse    lamp      paper_at_risk    warn_paper        browse    fog?
browse    lamp      must_arm         arm_to_view       arming    view
browse    lamp      -                view              viewing   view
browse    back      in_screen        leave_screen      browse    @
browse    dial      can_move         move              browse    move
browse    press     row_acts         act               browse    @
browse    press     row_turns        open              edit      change
browse    press     row_goes_on_held go_on             held      go on
browse    press     row_goes_on      go_on             ready     go on
browse    press     row_ends         end_run           browse    end it
browse    press     row_chooses      -                 choose    choose
browse    tick      settled          listen            browse
edit      dial      -                turn              edit      change
# EXPOSE takes what is open, and takes up the run: the light is the next press
edit      expose    too_early_here   refuse_early      edit      wait
edit      expose    is_faulty        tell_fault        edit      cannot: why?
edit      expose    cannot_begin     tell_why          edit      cannot: why?
edit      expose    another_is_kept  take_first        ask       take, another run?
edit      expose    on_print         take_and_begin    ready     take, no light yet
edit      expose    on_strip         take_and_begin    ready     take, no light yet
edit      expose    on_test          take_and_begin    ready     take, no light yet
edit      press     row_leads_on     take_on           edit      take
edit      press     -                take              browse    take
edit      back      -                leave_value       browse    drop it
edit      lamp      is_settling      refuse_early      edit      wait
edit      lamp      cannot_view      tell_fault        edit      cannot: why?
edit      lamp      paper_at_risk    warn_paper        edit      fog?
edit      lamp      must_arm         arm_to_view       arming    view
edit      lamp      -                view              viewing   view
edit      tick      settled          listen            edit
# The start delay, and the light follows. What may have changed since the press is asked again
delaying  expose    -                end_delay         before    cancel
delaying  lamp      -                end_delay         before    cancel
delaying  back      -                end_delay         before    cancel
delaying  tick      has_news         end_delay         before
delaying  tick      delay_runs       count_delay       delaying
delaying  tick      is_settling      refuse_early      before
delaying  tick      cannot_give      tell_fault        before
delaying  tick      must_arm         arm               arming
delaying  tick      -                give              exposing
# The second contact closes, and the light follows
arming    expose    is_giving        disarm            before    put out
arming    lamp      was_viewing      disarm            before    put out
arming    back      -                disarm            before    put out
arming    tick      contact_fails    -                 before
arming    tick      closed_to_view   view              viewing
arming    tick      is_closed        give              exposing
# Viewing light: always with its limit
viewing   lamp      -                put_out           stopping  put out
viewing   back      -                put_out           stopping  put out
viewing   press     takes_first      take_first_spot   viewing   first spot
viewing   press     takes_second     take_second_spot  viewing   second spot
viewing   lamp_end  -                view_ran_out      before
viewing   tick      overdue          put_out_overdue   stopping
viewing   tick      unseen           put_out_unseen    stopping
viewing   tick      -                refresh           viewing
stopping  lamp_end  was_viewing      -                 before
# A run, one stage after another
ready     expose    is_settling      refuse_early      ready     wait
ready     expose    stage_is_fit     fitted            ready     @
ready     expose    is_wait          begin_wait        waiting   start it
ready     expose    too_short        refuse_short      ready     cannot: why?
ready     expose    cannot_give      tell_fault        ready     cannot: why?
ready     expose    has_delay        delay             delaying  give @
ready     expose    must_arm         arm               arming    give @
ready     expose    -                give              exposing  give @
# A message covers the stage: the first turn shows it again
ready     dial      has_message      -                 ready     show stage
ready     dial      is_unbegun       move_stage        ready     @
ready     back      -                leave_run         browse    leave
ready     lamp      is_settling      refuse_early      ready     wait
ready     lamp      cannot_view      tell_fault        ready     cannot: why?
ready     lamp      paper_at_risk    warn_paper        ready     fog?
ready     lamp      must_arm         arm_to_view       arming    view
ready     lamp      -                view              viewing   view
ready     tick      settled          listen            ready
exposing  expose    holds_after      -                 exposing  wait
exposing  expose    is_pulsing       hold_after        exposing  hold
exposing  expose    too_late_to_hold -                 exposing  wait
exposing  expose    -                put_out_to_hold   stopping  hold
exposing  back      -                put_out           stopping  put out
exposing  tick      overdue          put_out_overdue   stopping
exposing  tick      unseen           put_out_unseen    stopping
exposing  tick      -                sound_cues        exposing
exposing  lamp_end  print_is_whole   end_print         browse
exposing  lamp_end  print_is_other   end_other_print   browse
exposing  lamp_end  strip_is_whole   end_strip         choose
exposing  lamp_end  strip_is_other   end_other_strip   browse
exposing  lamp_end  test_is_whole    end_test          browse
exposing  lamp_end  is_whole         end_stage         ready
exposing  lamp_end  more_follow      begin_between     between
exposing  lamp_end  was_held         hold              held
exposing  lamp_end  -                cut_short         held
stopping  lamp_end  print_is_whole   end_print         browse
stopping  lamp_end  print_is_other   end_other_print   browse
stopping  lamp_end  strip_is_whole   end_strip         choose
stopping  lamp_end  strip_is_other   end_other_strip   browse
stopping  lamp_end  test_is_whole    end_test          browse
stopping  lamp_end  is_whole         end_stage         ready
stopping  lamp_end  -                hold              held
stopping  tick      overdue          report_for_lamp   stopping
# Dark between two strikes of a stage. What may have changed meanwhile holds, as a key does
between   expose    -                hold              held      hold
between   back      -                hold              held      hold
between   tick      has_news         hold              held
between   tick      is_between       -                 between
between   tick      is_settling      hold              held
between   tick      cannot_give      hold              held
between   tick      must_arm         hold              held
between   tick      -                give              exposing
# A wait of a guided test
waiting   expose    -                pause_wait        ready     pause
waiting   back      -                pause_wait        ready     pause
waiting   tick      is_between       count_wait        waiting
waiting   tick      wait_follows     next_wait         waiting
waiting   tick      -                end_wait          ready
held      expose    is_settling      refuse_early      held      wait
held      expose    rest_too_short   leave_rest        ready     leave the rest
held      expose    too_short        refuse_short      held      cannot: why?
held      expose    cannot_give      tell_fault        held      cannot: why?
held      expose    has_delay        delay             delaying  give @
held      expose    must_arm         arm               arming    give @
held      expose    -                give              exposing  give @
held      back      -                leave_run         browse    leave
held      lamp      is_settling      refuse_early      held      wait
held      lamp      cannot_view      tell_fault        held      cannot: why?
held      lamp      paper_at_risk    warn_paper        held      fog?
held      lamp      must_arm         arm_to_view       arming    view
held      lamp      -                view              viewing   view
held      tick      settled          listen            held
# A run is kept, and EXPOSE would take up another
ask       press     is_faulty        tell_fault        ask       cannot: why?
ask       press     -                end_and_begin     ready     end it
ask       back      -                -                 browse    keep it
ask       lamp      is_settling      refuse_early      ask       wait
ask       lamp      cannot_view      tell_fault        ask       cannot: why?
ask       lamp      paper_at_risk    warn_paper        ask       fog?
ask       lamp      must_arm         arm_to_view       arming    view
ask       lamp      -                view              viewing   view
ask       tick      settled          listen            ask
# After a strip
choose    dial      has_message      -                 choose    show patch
choose    dial      -                move_place        choose    half patch
choose    press     -                take_place        browse    take
choose    back      -                leave_choice      browse    later
choose    lamp      is_settling      refuse_early      choose    wait
choose    lamp      cannot_view      tell_fault        choose    cannot: why?
choose    lamp      paper_at_risk    warn_paper        choose    fog?
choose    lamp      must_arm         arm_to_view       arming    view
choose    lamp      -                view              viewing   view
choose    tick      settled          listen            choose
# After a reset in mid-run
notice    press     can_go_on_held   go_on             held      go on
notice    press     can_go_on        go_on             ready     go on
notice    back      -                leave_run         browse    leave
notice    lamp      is_settling      refuse_early      notice    wait
notice    lamp      cannot_view      tell_fault        notice    cannot: why?
notice    lamp      paper_at_risk    warn_paper        notice    fog?
notice    lamp      must_arm         arm_to_view       arming    view
notice    lamp      -                view              viewing   view
notice    tick      settled          listen            notice
# The wire asks for contacts to be counted, in place of acted on
browse    count     -                count             counting
counting  expose    -                -                 counting  counted
counting  lamp      -                -                 counting  counted
counting  back      -                -                 counting  counted
counting  dial      -                -                 counting  counted
counting  press     -                -                 counting  counted
counting  tick      is_forsaken      end_count         browse
counting  end_count -                end_count         browse
counting  handover  -                give_prompt       away
# The wire asks for the prompt: only when dark
browse    handover  -                give_prompt        away
edit      handover  -                give_prompt        away
ready     handover  -                give_prompt        away
held      handover  -                give_prompt        away
ask       handover  -                give_prompt        away
choose    handover  -                give_prompt        away
notice    handover  -                give_prompt        away
"""


def transitions():
    """Yield the rows as (state, event, when, do, then, says), with "" for "-"."""
    for line in TRANSITIONS.split("\n"):
        if line and line[0] != "#":
            words = line.split(None, 5)
            state, event, when, do, then = words[:5]
            says = words[5] if len(words) > 5 else ""
            yield state, event, "" if when == "-" else when, "" if do == "-" else do, then, says
