for(const box of document.querySelectorAll('.hold')){const was=on=>()=>box.classList.toggle('shot',on);
for(const name of ['pointerdown','keydown'])box.addEventListener(name,e=>{if(!e.key||e.key===' '||e.key==='Enter'){
e.preventDefault();was(true)()}});for(const name of ['pointerup','pointerleave','pointercancel','keyup','blur'])
box.addEventListener(name,was(false));box.addEventListener('contextmenu',e=>e.preventDefault())}
